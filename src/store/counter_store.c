/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/counter_store.h"

#include "sql.h"
#include "store/pg_ask.h"

enum store_result read_counter_sites(struct pg *pg, const struct visible_sites *sites, struct buffer *json)
{
    return pg_ask(pg, &sql_counter_sites, PG_ARGS(arg_sites(sites)), pg_one(NULL, take_text, json));
}

enum store_result read_counter_place(struct pg *pg, int32_t site, struct date day, struct buffer *json)
{
    return pg_ask(pg, &sql_counter_place, PG_ARGS(arg_int(site), arg_date(day)),
                  pg_one(NULL, take_text, json));
}

static enum store_result read_array(struct pg *pg, struct pg_args args, int limit, struct buffer *json,
                                    bool *more)
{
    struct json_slice slice;
    buffer_add_char(json, '[');
    enum store_result result = json_slice_read(pg, &sql_counter_events, args, limit, json, &slice);
    buffer_add_char(json, ']');
    *more = slice.more;
    return result;
}

enum store_result read_counter_events(struct pg *pg, int32_t site, struct date day, int limit,
                                      struct buffer *json, bool *more)
{
    return read_array(pg, PG_ARGS(arg_int(site), arg_date(day), arg_limit(limit), arg_null()), limit, json,
                      more);
}

enum store_result read_counter_event(struct pg *pg, int32_t site, const struct uuid *id, struct buffer *json)
{
    bool more;
    return read_array(pg, PG_ARGS(arg_int(site), arg_null(), arg_null(), arg_uuid(id)), 0, json, &more);
}
