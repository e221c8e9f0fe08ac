/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/proposal_store.h"

#include "sql.h"
#include "store/pg_ask.h"

static const char *const what_words[PROPOSAL_WHATS] = {
    [PROPOSAL_REFERENCE] = "reference",
    [PROPOSAL_SCHEME] = "scheme",
    [PROPOSAL_PARTICIPANT] = "participant",
    [PROPOSAL_KEY] = "key",
    [PROPOSAL_BANK_LINE] = "bank_line",
    [PROPOSAL_EXCEPTION] = "exception",
    [PROPOSAL_MONTH] = "month",
    [PROPOSAL_AGREEMENT] = "agreement",
};

enum store_result store_changes_last(struct pg *pg, int64_t *number)
{
    return pg_ask(pg, &sql_changes_last, PG_NO_ARGS, pg_one(NULL, take_int, number));
}

static void take_weakening(struct pg_row *row, void *into)
{
    struct weakening *weakening = into;
    weakening->changes = row_copy(row);
    weakening->others = row_int(row);
    const int64_t *ids = row_ints(row, &weakening->scheme_count);
    weakening->schemes = arena_array(row->arena, weakening->scheme_count + 1, sizeof *weakening->schemes);
    row_check_memory(row, weakening->schemes);
    for (size_t i = 0; !row->failed && i < weakening->scheme_count; i++)
        weakening->schemes[i] = (int32_t)ids[i];
}

enum store_result store_weakening(struct pg *pg, struct arena *arena, int64_t since,
                                  struct weakening *weakening)
{
    const char *made_by_two[ROLE_COUNT];
    size_t count = 0;
    for (unsigned role = 0; role < ROLE_COUNT; role++)
        if (role_making((enum role)role) == MADE_BY_TWO)
            made_by_two[count++] = role_word((enum role)role);
    *weakening = (struct weakening){0};
    return pg_ask(pg, &sql_proposal_needed, PG_ARGS(arg_int(since), arg_texts(ARRAY(made_by_two, count))),
                  pg_maybe(arena, take_weakening, weakening, NULL));
}

enum store_result store_write_same(struct pg *pg, const struct proposed_write *write, int64_t *number)
{
    *number = 0;
    return pg_ask(pg, &sql_proposal_same,
                  PG_ARGS(arg_text(what_words[write->what]), arg_text(write->name), arg_text(write->body)),
                  pg_maybe(NULL, take_int, number, NULL));
}

enum store_result store_write_add(struct pg *pg, const struct proposed_write *write,
                                  const struct weakening *weakening, int64_t *number)
{
    return pg_ask(
        pg, &sql_proposal_add,
        PG_ARGS(arg_text(what_words[write->what]), arg_text(write->name), arg_text(write->body),
                write->secret_hash != NULL ? arg_bytes(write->secret_hash->bytes, SHA256_SIZE) : arg_null(),
                arg_text(weakening->changes), arg_int(weakening->others),
                arg_int4s(ARRAY(weakening->schemes, weakening->scheme_count)), arg_instant(write->now),
                arg_int(write->key), arg_text(write->why)),
        pg_one(NULL, take_int, number));
}

static void take_kept(struct pg_row *row, void *into)
{
    struct kept_write *write = into;
    write->what = (enum proposal_what)row_word(row, what_words, PROPOSAL_WHATS);
    write->name = row_copy(row);
    write->body = row_copy(row);
    row_hashes(row, write->secret_hash.bytes, SHA256_SIZE);
    write->proposed_by = row_int32(row);
    write->proposed_at = row_instant(row);
    write->decision = PROPOSAL_OPEN;
    if (row_is_null(row))
        row_skip(row);
    else
        write->decision = (enum proposal_status)row_word(row, proposal_status_words, PROPOSAL_STATUSES);
    write->decided_by = row_int32_or_0(row);
    write->scheme = row_int32_or_0(row);
    write->asker_in_force = row_bool(row);
    write->why = row_copy_or_null(row);
}

enum store_result store_write_find(struct pg *pg, struct arena *arena, int64_t number, int32_t key,
                                   struct kept_write *write, bool *found)
{
    return pg_ask(pg, &sql_proposal_find, PG_ARGS(arg_int(number), arg_int(key)),
                  pg_maybe(arena, take_kept, write, found));
}

enum store_result store_write_decide(struct pg *pg, int64_t number, enum proposal_status decision,
                                     struct instant now, int32_t key, const char *note)
{
    return pg_run(pg, &sql_proposal_decide,
                  PG_ARGS(arg_int(number), arg_text(proposal_status_words[decision]), arg_instant(now),
                          arg_int(key), arg_text(note)));
}

enum store_result read_write(struct pg *pg, int64_t number, const char *status, struct buffer *json)
{
    return pg_ask(pg, &sql_proposal_get, PG_ARGS(arg_int(number), arg_text(status)),
                  pg_one(NULL, take_text, json));
}

enum store_result read_write_if_there(struct pg *pg, int64_t number, struct buffer *json, bool *found)
{
    return pg_ask(pg, &sql_proposal_get, PG_ARGS(arg_int(number), arg_null()),
                  pg_maybe(NULL, take_text, json, found));
}

enum store_result read_writes(struct pg *pg, int32_t scheme, const struct proposed_filter *filter,
                              struct list_slice *slice)
{
    return read_list_way(pg, SQL_WAYS(sql_proposals_list),
                         PG_ARGS(arg_id(scheme), arg_int(slice->after), arg_limit(slice->limit),
                                 arg_text(filter->status), arg_bool_at(filter->mine), arg_int(filter->key)),
                         slice);
}
