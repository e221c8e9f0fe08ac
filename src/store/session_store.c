/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/session_store.h"

#include "sql.h"
#include "store/pg_ask.h"
#include "store/read_store.h"

enum store_result store_session_begin(struct pg *pg, const struct session_row *row, int64_t *session)
{
    *session = 0;
    return pg_ask(pg, &sql_session_begin,
                  PG_ARGS(arg_int(row->key), arg_bytes(row->cookie_hash.bytes, SHA256_SIZE),
                          arg_instant(row->now), arg_bytes(row->secret_hash.bytes, SHA256_SIZE)),
                  pg_maybe(NULL, take_int, session, NULL));
}

static void take_found(struct pg_row *row, void *into)
{
    struct found_session *session = into;
    session->session = row_int(row);
    session->key = row_int32(row);
}

enum store_result store_session_find(struct pg *pg, const struct sha256 *cookie_hash,
                                     const struct session_bounds *bounds, struct found_session *session)
{
    *session = (struct found_session){.session = 0};
    return pg_ask(pg, &sql_session_find,
                  PG_ARGS(arg_bytes(cookie_hash->bytes, SHA256_SIZE), arg_instant(bounds->now),
                          arg_int(bounds->idle_s), arg_int(bounds->counter_idle_s), arg_int(bounds->most_s)),
                  pg_maybe(NULL, take_found, session, NULL));
}

enum store_result store_session_end(struct pg *pg, int32_t key, int64_t session, struct instant now,
                                    bool *found)
{
    int64_t count = 0;
    enum store_result result = pg_ask(
        pg, &sql_session_end, PG_ARGS(arg_int(key), arg_int(session), arg_instant(now)), pg_touched(&count));
    *found = count > 0;
    return result;
}

static void take_sent(struct pg_row *row, void *into)
{
    struct sent_form *sent = into;
    sent->first = row_bool(row);
    sent->location = row_copy_or_null(row);
}

enum store_result store_form_begin(struct pg *pg, struct arena *arena, int64_t session,
                                   const struct uuid *once, struct instant now, struct sent_form *sent)
{
    return pg_ask(pg, &sql_form_begin, PG_ARGS(arg_int(session), arg_uuid(once), arg_instant(now)),
                  pg_one(arena, take_sent, sent));
}

enum store_result store_form_end(struct pg *pg, int64_t session, const struct uuid *once,
                                 const char *location)
{
    return pg_run(pg, &sql_form_end, PG_ARGS(arg_int(session), arg_uuid(once), arg_text(location)));
}

enum store_result read_sessions(struct pg *pg, int32_t key, int64_t asking,
                                const struct session_bounds *bounds, struct list_slice *slice)
{
    return read_list_way(pg, SQL_WAYS(sql_sessions_list),
                         PG_ARGS(arg_int(key), arg_int(slice->after), arg_limit(slice->limit),
                                 arg_int(asking), arg_instant(bounds->now), arg_int(bounds->idle_s),
                                 arg_int(bounds->counter_idle_s), arg_int(bounds->most_s)),
                         slice);
}
