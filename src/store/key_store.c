/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/key_store.h"

#include "sql.h"
#include "store/pg_ask.h"

static void take_facts(struct pg_row *row, void *into)
{
    struct key_facts *facts = into;
    facts->name_taken = row_bool(row);
    facts->participant_known = row_bool(row);
    facts->unknown_sites = row_ints(row, &facts->unknown_site_count);
}

enum store_result store_key_facts(struct pg *pg, struct arena *arena, const struct key_row *row,
                                  struct key_facts *facts)
{
    return pg_ask(pg, &sql_key_facts,
                  PG_ARGS(arg_text(row->name), arg_text(row->participant),
                          arg_texts(ARRAY(row->sites, row->site_count))),
                  pg_one(arena, take_facts, facts));
}

enum store_result store_key_add(struct pg *pg, const struct key_row *row)
{
    return pg_run(pg, &sql_key_add,
                  PG_ARGS(arg_text(row->name), arg_text(role_word(row->role)),
                          arg_bytes(row->secret_hash.bytes, SHA256_SIZE), arg_text(row->participant),
                          arg_texts(ARRAY(row->sites, row->site_count)), arg_text(row->holder),
                          arg_int(row->made_by), arg_text(row->language)));
}

enum store_result store_key_revoke(struct pg *pg, const char *name, int32_t revoked_by, bool *found)
{
    int64_t count = 0;
    enum store_result result =
        pg_ask(pg, &sql_key_revoke, PG_ARGS(arg_text(name), arg_int(revoked_by)), pg_touched(&count));
    *found = count > 0;
    return result;
}

enum store_result store_key_renew(struct pg *pg, struct arena *arena, int32_t key,
                                  const struct sha256 *secret_hash, struct instant now, const char **name)
{
    *name = NULL;
    return pg_ask(pg, &sql_key_renew,
                  PG_ARGS(arg_int(key), arg_bytes(secret_hash->bytes, SHA256_SIZE), arg_instant(now)),
                  pg_maybe(arena, take_copy, name, NULL));
}

enum store_result store_key_language(struct pg *pg, struct arena *arena, int32_t key, const char *name,
                                     const char *language, const char **found)
{
    *found = NULL;
    return pg_ask(pg, &sql_key_language, PG_ARGS(arg_id(key), arg_text(name), arg_text(language)),
                  pg_maybe(arena, take_copy, found, NULL));
}

enum store_result store_key_read(struct pg *pg, const char *name, const char *after, int limit,
                                 struct buffer *json, struct json_slice *slice)
{
    return json_slice_read(pg, &sql_key_read, PG_ARGS(arg_text(name), arg_text(after), arg_limit(limit)),
                           limit, json, slice);
}

enum store_result store_key_self(struct pg *pg, int32_t key, struct buffer *json)
{
    return pg_ask(pg, &sql_me_read, PG_ARGS(arg_int(key)), pg_maybe(NULL, take_text, json, NULL));
}
