/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/key_store.h"

#include "sql.h"

enum store_result store_key_facts(struct pg *pg, struct arena *arena, const struct key_row *row,
                                  struct key_facts *facts)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_text(&params, row->name);
    pg_add_text(&params, row->participant);
    pg_add_text_array(&params, row->sites, row->site_count);
    enum store_result result = pg_query(pg, &sql_key_facts, &params, &rows);
    if (result != STORE_OK)
        return result;
    facts->name_taken = pg_bool(rows, 0, 0);
    facts->participant_known = pg_bool(rows, 0, 1);
    bool read = pg_int8_list(rows, 0, 2, arena, &facts->unknown_sites, &facts->unknown_site_count);
    return read ? STORE_OK : STORE_FAILED;
}

enum store_result store_key_add(struct pg *pg, struct arena *arena, const struct key_row *row)
{
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_text(&params, row->name);
    pg_add_text(&params, role_word(row->role));
    pg_add_bytes(&params, row->secret_hash.bytes, sizeof row->secret_hash.bytes);
    pg_add_text(&params, row->participant);
    pg_add_text_array(&params, row->sites, row->site_count);
    pg_add_text(&params, row->holder);
    pg_add_int(&params, row->made_by);
    return pg_query(pg, &sql_key_add, &params, NULL);
}

enum store_result store_key_revoke(struct pg *pg, const char *name, int32_t revoked_by, bool *found)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_text(&params, name);
    pg_add_int(&params, revoked_by);
    enum store_result result = pg_query(pg, &sql_key_revoke, &params, &rows);
    *found = result == STORE_OK && pg_affected(rows) > 0;
    return result;
}

enum store_result store_key_renew(struct pg *pg, struct arena *arena, int32_t key,
                                  const struct sha256 *secret_hash, struct instant now, const char **name)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, key);
    pg_add_bytes(&params, secret_hash->bytes, sizeof secret_hash->bytes);
    pg_add_instant(&params, now);
    enum store_result result = pg_query(pg, &sql_key_renew, &params, &rows);
    *name = NULL;
    if (result != STORE_OK || pg_row_count(rows) == 0)
        return result;
    *name = arena_copy(arena, pg_text(rows, 0, 0), pg_length(rows, 0, 0));
    return *name != NULL ? STORE_OK : STORE_FAILED;
}

enum store_result store_key_read(struct pg *pg, const char *name, const char *after, int limit,
                                 struct buffer *json, struct json_slice *slice)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_text(&params, name);
    pg_add_text(&params, after);
    json_slice_limit(&params, limit);
    enum store_result result = pg_query(pg, &sql_key_read, &params, &rows);
    if (result == STORE_OK)
        json_slice_add(rows, limit, json, slice);
    return result;
}

enum store_result store_key_self(struct pg *pg, int32_t key, struct buffer *json)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, key);
    enum store_result result = pg_query(pg, &sql_me_read, &params, &rows);
    if (result == STORE_OK && pg_row_count(rows) == 1)
        buffer_add(json, pg_text(rows, 0, 0), pg_length(rows, 0, 0));
    return result;
}
