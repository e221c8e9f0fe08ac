/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/exception_store.h"

#include "sql.h"

static void add_name(struct pg_params *params, const struct exception_resolving *resolving)
{
    pg_params_init(params, NULL);
    pg_add_int(params, resolving->scheme);
    pg_add_int(params, resolving->entry);
    pg_add_int(params, resolving->position);
}

enum store_result store_exception_resolve(struct pg *pg, const struct exception_resolving *resolving)
{
    struct pg_params params;
    add_name(&params, resolving);
    pg_add_instant(&params, resolving->now);
    pg_add_int(&params, resolving->key);
    pg_add_text(&params, resolving->note);
    return pg_query(pg, &sql_exception_resolve, &params, NULL);
}

enum store_result store_exception_get(struct pg *pg, const struct exception_resolving *resolving,
                                      struct buffer *json, bool *found, bool *as_said)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    add_name(&params, resolving);
    pg_add_int(&params, resolving->key);
    pg_add_text(&params, resolving->note);
    enum store_result result = pg_query(pg, &sql_exception_get, &params, &rows);
    if (result != STORE_OK)
        return result;
    *found = pg_row_count(rows) > 0;
    *as_said = *found && pg_bool(rows, 0, 1);
    if (*found)
        buffer_add(json, pg_text(rows, 0, 0), pg_length(rows, 0, 0));
    return STORE_OK;
}
