/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/day_total_store.h"

#include "sql.h"

static void add_day(struct pg_params *params, int32_t scheme, int32_t site, struct date date)
{
    pg_params_init(params, NULL);
    pg_add_int(params, scheme);
    pg_add_int(params, site);
    pg_add_date(params, date);
}

enum store_result store_day_total_lock(struct pg *pg, int32_t scheme, int32_t site, struct date date,
                                       bool *begun)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    add_day(&params, scheme, site, date);
    enum store_result result = pg_query(pg, &sql_day_total_lock, &params, &rows);
    *begun = result == STORE_OK && pg_bool(rows, 0, 0);
    return result;
}

enum store_result store_day_total_add(struct pg *pg, const struct day_total_row *row)
{
    struct pg_params params;
    add_day(&params, row->scheme, row->site, row->date);
    pg_add_instant(&params, row->now);
    pg_add_int(&params, row->key);
    pg_add_int(&params, row->issued);
    pg_add_int(&params, row->returned);
    pg_add_int(&params, row->collected.minor);
    pg_add_int(&params, row->refunded.minor);
    return pg_query(pg, &sql_day_total_add, &params, NULL);
}

enum store_result store_day_total_get(struct pg *pg, int32_t scheme, int32_t site, struct date date,
                                      struct buffer *json, bool *found)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    add_day(&params, scheme, site, date);
    enum store_result result = pg_query(pg, &sql_day_total_get, &params, &rows);
    *found = result == STORE_OK && pg_row_count(rows) > 0;
    if (*found)
        buffer_add(json, pg_text(rows, 0, 0), pg_length(rows, 0, 0));
    return result;
}
