/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/journal_store.h"

#include "sql.h"

#include <string.h>

static const char *const status_words[] = {"open", "approved", "withdrawn"};

static enum store_result query_proposal(struct pg *pg, const struct sql *sql, int32_t scheme,
                                        const struct uuid *id, struct pg_rows **rows)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_uuid(&params, id);
    return pg_query(pg, sql, &params, rows);
}

enum store_result store_proposal_add(struct pg *pg, struct arena *arena, int32_t scheme, struct instant now,
                                     const struct proposal_row *row)
{
    struct pg_params params;
    int64_t *accounts = arena_array(arena, row->leg_count + 1, sizeof *accounts);
    int64_t *amounts = arena_array(arena, row->leg_count + 1, sizeof *amounts);
    if (accounts == NULL || amounts == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < row->leg_count; i++) {
        accounts[i] = row->legs[i].account.code;
        amounts[i] = row->legs[i].amount;
    }
    pg_params_init(&params, arena);
    pg_add_int(&params, scheme);
    pg_add_uuid(&params, &row->event->id);
    pg_add_bytes(&params, row->event->digest.bytes, SHA256_SIZE / 2);
    pg_add_text(&params, row->event->text);
    pg_add_instant(&params, row->event->occurred_at);
    pg_add_int8_array(&params, accounts, row->leg_count);
    pg_add_int8_array(&params, amounts, row->leg_count);
    pg_add_instant(&params, now);
    pg_add_int(&params, row->key);
    return pg_query(pg, &sql_journal_propose, &params, NULL);
}

enum store_result store_proposals(struct pg *pg, struct arena *arena, int32_t scheme,
                                  struct known_event **known, size_t *count)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    enum store_result result = pg_query(pg, &sql_journals_undecided, &params, &rows);
    if (result != STORE_OK)
        return result;
    *count = (size_t)pg_row_count(rows);
    *known = arena_array(arena, *count + 1, sizeof **known);
    if (*known == NULL)
        return STORE_FAILED;
    for (int i = 0; i < pg_row_count(rows); i++) {
        struct known_event *event = &(*known)[i];
        if (!uuid_parse(pg_text(rows, i, 0), pg_length(rows, i, 0), &event->id))
            return STORE_FAILED;
        pg_bytes(rows, i, 1, event->digest, sizeof event->digest);
        event->standing = pg_bool(rows, i, 2) ? STANDING_WITHDRAWN : STANDING_PROPOSED;
    }
    return STORE_OK;
}

enum store_result store_proposal_schemes(struct pg *pg, struct arena *arena, const struct uuid *id,
                                         int32_t **schemes, size_t *count)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_uuid(&params, id);
    enum store_result result = pg_query(pg, &sql_journal_schemes, &params, &rows);
    if (result != STORE_OK)
        return result;
    *count = (size_t)pg_row_count(rows);
    *schemes = arena_array(arena, *count + 1, sizeof **schemes);
    if (*schemes == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < *count; i++)
        (*schemes)[i] = (int32_t)pg_int(rows, (int)i, 0);
    return STORE_OK;
}

static enum store_result status_parse(const char *word, enum proposal_status *status)
{
    for (size_t i = 0; i < sizeof status_words / sizeof status_words[0]; i++)
        if (strcmp(word, status_words[i]) == 0) {
            *status = (enum proposal_status)i;
            return STORE_OK;
        }
    return STORE_FAILED;
}

enum store_result store_proposal(struct pg *pg, struct arena *arena, int32_t scheme, const struct uuid *id,
                                 struct proposal *proposal, bool *found)
{
    PG_ROWS rows = NULL;
    enum store_result result = query_proposal(pg, &sql_journal_find, scheme, id, &rows);
    if (result != STORE_OK)
        return result;
    *found = pg_row_count(rows) > 0;
    if (!*found)
        return STORE_OK;
    *proposal = (struct proposal){
        .proposed_by = (int32_t)pg_int(rows, 0, 1),
        .decided_by = (int32_t)pg_int(rows, 0, 2),
        .event = arena_copy(arena, pg_text(rows, 0, 3), pg_length(rows, 0, 3)),
        .occurred_at = pg_instant(rows, 0, 4),
        .proposed_at = pg_instant(rows, 0, 7),
    };
    if (proposal->event == NULL)
        return STORE_FAILED;
    result = store_read_legs(rows, 0, 5, arena, &proposal->legs, &proposal->leg_count);
    return result == STORE_OK ? status_parse(pg_text(rows, 0, 0), &proposal->status) : result;
}

enum store_result store_proposal_decide(struct pg *pg, int32_t scheme, const struct uuid *id,
                                        const struct proposal_decision *decision)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_uuid(&params, id);
    pg_add_text(&params, status_words[decision->status]);
    pg_add_instant(&params, decision->decided_at);
    pg_add_int(&params, decision->key);
    pg_add_text(&params, decision->note);
    pg_add_int(&params, decision->entry);
    enum store_result result = pg_query(pg, &sql_journal_decide, &params, &rows);
    if (result == STORE_OK && pg_affected(rows) != 1)
        return STORE_FAILED;
    return result;
}
