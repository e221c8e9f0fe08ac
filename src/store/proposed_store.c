/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/proposed_store.h"

#include "sql.h"
#include "store/leg_rows.h"
#include "store/pg_ask.h"

enum store_result store_proposal_add(struct pg *pg, int32_t scheme, struct instant now,
                                     const struct proposal_row *row)
{
    return pg_run(pg, &sql_proposed_add,
                  PG_ARGS(arg_int(scheme), arg_uuid(&row->event->id),
                          arg_bytes(row->event->digest.bytes, SHA256_SIZE / 2), arg_text(row->event->text),
                          arg_instant(row->event->occurred_at),
                          arg_int8s(COLUMN(row->legs, row->leg_count, account.code)),
                          arg_int8s(COLUMN(row->legs, row->leg_count, amount)), arg_instant(now),
                          arg_int(row->key), arg_int(row->event->kind)));
}

static void take_undecided(struct pg_row *row, void *into)
{
    struct known_event *event = into;
    event->scheme = row_int32(row);
    event->id = row_uuid(row);
    row_bytes(row, event->digest, sizeof event->digest);
    event->standing = row_bool(row) ? STANDING_WITHDRAWN : STANDING_PROPOSED;
    event->is_opening = row_bool(row);
}

enum store_result store_proposals(struct pg *pg, struct arena *arena, const int32_t *schemes,
                                  size_t scheme_count, struct known_event **known, size_t *count)
{
    return pg_ask(pg, &sql_proposed_undecided, PG_ARGS(arg_int4s(ARRAY(schemes, scheme_count))),
                  PG_LIST(arena, take_undecided, NULL, known, count));
}

enum store_result store_proposal_schemes(struct pg *pg, struct arena *arena, enum proposed_family family,
                                         const struct uuid *id, int32_t **schemes, size_t *count)
{
    return pg_ask(pg, &sql_proposed_schemes, PG_ARGS(arg_uuid(id), arg_bool(family == PROPOSED_JOURNALS)),
                  PG_LIST(arena, take_int32, NULL, schemes, count));
}

static void take_proposal(struct pg_row *row, void *into)
{
    struct proposal *proposal = into;
    proposal->kind = (enum entry_kind)row_int32(row);
    proposal->status = (enum proposal_status)row_word(row, proposal_status_words, PROPOSAL_STATUSES);
    proposal->proposed_by = row_int32(row);
    proposal->decided_by = row_int32_or_0(row);
    proposal->event = row_copy(row);
    proposal->occurred_at = row_instant(row);
    struct stored_legs list = row_legs(row);
    proposal->legs = list.legs;
    proposal->leg_count = list.count;
    proposal->proposed_at = row_instant(row);
    proposal->reverses = row_int_or_0(row);
}

enum store_result store_proposal(struct pg *pg, struct arena *arena, const struct proposed_name *name,
                                 struct proposal *proposal, bool *found)
{
    return pg_ask(
        pg, &sql_proposed_find,
        PG_ARGS(arg_int(name->scheme), arg_uuid(&name->id), arg_bool(name->family == PROPOSED_JOURNALS)),
        pg_maybe(arena, take_proposal, proposal, found));
}

enum store_result store_proposal_decide(struct pg *pg, int32_t scheme, const struct uuid *id,
                                        const struct proposal_decision *decision)
{
    return pg_ask(pg, &sql_proposed_decide,
                  PG_ARGS(arg_int(scheme), arg_uuid(id), arg_text(proposal_status_words[decision->status]),
                          arg_instant(decision->decided_at), arg_int(decision->key), arg_text(decision->note),
                          arg_int(decision->entry)),
                  pg_touches_one());
}
