/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/proposal_store.h"

#include "sql.h"

#include <string.h>

static const char *const what_words[PROPOSAL_WHATS] = {"reference", "scheme", "participant", "key",
                                                       "bank_line"};
static const char *const decision_words[] = {"open", "approved", "withdrawn"};

enum store_result store_changes_last(struct pg *pg, int64_t *number)
{
    PG_ROWS rows = NULL;
    enum store_result result = pg_query(pg, &sql_changes_last, NULL, &rows);
    if (result == STORE_OK)
        *number = pg_int(rows, 0, 0);
    return result;
}

static enum store_result read_schemes(const struct pg_rows *rows, struct arena *arena,
                                      struct weakening *weakening)
{
    int64_t *ids;
    if (!pg_int8_list(rows, 0, 2, arena, &ids, &weakening->scheme_count))
        return STORE_FAILED;
    weakening->schemes = arena_array(arena, weakening->scheme_count + 1, sizeof *weakening->schemes);
    if (weakening->schemes == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < weakening->scheme_count; i++)
        weakening->schemes[i] = (int32_t)ids[i];
    return STORE_OK;
}

/* The words of the roles whose keys are made by two. */
static void add_roles_made_by_two(struct pg_params *params)
{
    const char *words[ROLE_COUNT];
    size_t count = 0;
    for (unsigned role = 0; role < ROLE_COUNT; role++)
        if (role_making((enum role)role) == MADE_BY_TWO)
            words[count++] = role_word((enum role)role);
    pg_add_text_array(params, words, count);
}

enum store_result store_weakening(struct pg *pg, struct arena *arena, int64_t since,
                                  struct weakening *weakening)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int(&params, since);
    add_roles_made_by_two(&params);
    *weakening = (struct weakening){0};
    enum store_result result = pg_query(pg, &sql_proposal_needed, &params, &rows);
    if (result != STORE_OK || pg_row_count(rows) == 0)
        return result;
    weakening->changes = arena_copy(arena, pg_text(rows, 0, 0), pg_length(rows, 0, 0));
    weakening->others = pg_int(rows, 0, 1);
    return weakening->changes != NULL ? read_schemes(rows, arena, weakening) : STORE_FAILED;
}

enum store_result store_write_same(struct pg *pg, const struct proposed_write *write, int64_t *number)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_text(&params, what_words[write->what]);
    pg_add_text(&params, write->name);
    pg_add_text(&params, write->body);
    enum store_result result = pg_query(pg, &sql_proposal_same, &params, &rows);
    *number = result == STORE_OK && pg_row_count(rows) > 0 ? pg_int(rows, 0, 0) : 0;
    return result;
}

enum store_result store_write_add(struct pg *pg, struct arena *arena, const struct proposed_write *write,
                                  const struct weakening *weakening, int64_t *number)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_text(&params, what_words[write->what]);
    pg_add_text(&params, write->name);
    pg_add_text(&params, write->body);
    if (write->secret_hash != NULL)
        pg_add_bytes(&params, write->secret_hash->bytes, sizeof write->secret_hash->bytes);
    else
        pg_add_null(&params);
    pg_add_text(&params, weakening->changes);
    pg_add_int(&params, weakening->others);
    pg_add_int4_array(&params, weakening->schemes, weakening->scheme_count);
    pg_add_instant(&params, write->now);
    pg_add_int(&params, write->key);
    pg_add_text(&params, write->why);
    enum store_result result = pg_query(pg, &sql_proposal_add, &params, &rows);
    if (result == STORE_OK)
        *number = pg_int(rows, 0, 0);
    return result;
}

/* The index of the word among `count`, or `count`. */
static unsigned word_index(const char *word, const char *const *words, unsigned count)
{
    unsigned i = 0;
    while (i < count && strcmp(words[i], word) != 0)
        i++;
    return i;
}

static enum store_result read_kept(const struct pg_rows *rows, struct arena *arena, struct kept_write *write)
{
    unsigned what = word_index(pg_text(rows, 0, 0), what_words, PROPOSAL_WHATS);
    unsigned decision =
        pg_is_null(rows, 0, 6) ? WRITE_OPEN : word_index(pg_text(rows, 0, 6), decision_words, 3);
    if (what == PROPOSAL_WHATS || decision > WRITE_WITHDRAWN)
        return STORE_FAILED;
    *write = (struct kept_write){
        .what = (enum proposal_what)what,
        .name = arena_copy(arena, pg_text(rows, 0, 1), pg_length(rows, 0, 1)),
        .body = arena_copy(arena, pg_text(rows, 0, 2), pg_length(rows, 0, 2)),
        .proposed_by = (int32_t)pg_int(rows, 0, 4),
        .proposed_at = pg_instant(rows, 0, 5),
        .decision = (enum write_decision)decision,
        .decided_by = (int32_t)pg_int(rows, 0, 7),
        .scheme = (int32_t)pg_int(rows, 0, 8),
    };
    if (!pg_is_null(rows, 0, 10))
        write->why = arena_copy(arena, pg_text(rows, 0, 10), pg_length(rows, 0, 10));
    if (write->name == NULL || write->body == NULL || (write->why == NULL && !pg_is_null(rows, 0, 10)))
        return STORE_FAILED;
    pg_digest(rows, 0, 3, write->secret_hash.bytes);
    return STORE_OK;
}

enum store_result store_write_find(struct pg *pg, struct arena *arena, int64_t number, int32_t key,
                                   struct kept_write *write, bool *found, bool *in_force)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, number);
    pg_add_int(&params, key);
    enum store_result result = pg_query(pg, &sql_proposal_find, &params, &rows);
    *found = result == STORE_OK && pg_row_count(rows) > 0;
    if (!*found)
        return result;
    *in_force = pg_bool(rows, 0, 9);
    return read_kept(rows, arena, write);
}

enum store_result store_write_decide(struct pg *pg, int64_t number, enum write_decision decision,
                                     struct instant now, int32_t key, const char *note)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, number);
    pg_add_text(&params, decision_words[decision]);
    pg_add_instant(&params, now);
    pg_add_int(&params, key);
    pg_add_text(&params, note);
    return pg_query(pg, &sql_proposal_decide, &params, NULL);
}

enum store_result read_write(struct pg *pg, int64_t number, const char *status, struct buffer *json)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, number);
    pg_add_text(&params, status);
    enum store_result result = pg_query(pg, &sql_proposal_get, &params, &rows);
    if (result == STORE_OK && pg_row_count(rows) != 1)
        return STORE_FAILED;
    if (result == STORE_OK)
        buffer_add(json, pg_text(rows, 0, 0), pg_length(rows, 0, 0));
    return result;
}

enum store_result read_writes(struct pg *pg, int32_t scheme, const char *status, struct list_slice *slice)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    if (scheme != 0)
        pg_add_int(&params, scheme);
    else
        pg_add_null(&params);
    pg_add_int(&params, slice->after);
    json_slice_limit(&params, slice->limit);
    pg_add_text(&params, status);
    return read_list_slice(pg, &sql_proposals_list, &params, slice);
}
