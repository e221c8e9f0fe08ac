/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/exception_store.h"

#include "sql.h"
#include "store/pg_ask.h"

enum store_result store_exception_resolve(struct pg *pg, const struct exception_resolving *resolving)
{
    return pg_run(pg, &sql_exception_resolve,
                  PG_ARGS(arg_int(resolving->scheme), arg_int(resolving->entry), arg_int(resolving->position),
                          arg_instant(resolving->now), arg_int(resolving->key), arg_text(resolving->note)));
}

static void take_exception(struct pg_row *row, void *into)
{
    bool *as_said = row->shared;
    row_append(row, into);
    *as_said = row_bool(row);
}

enum store_result store_exception_get(struct pg *pg, const struct exception_resolving *resolving,
                                      struct buffer *json, bool *found, bool *as_said)
{
    struct pg_answer answer = pg_maybe(NULL, take_exception, json, found);
    answer.shared = as_said;
    *as_said = false;
    return pg_ask(pg, &sql_exception_get,
                  PG_ARGS(arg_int(resolving->scheme), arg_int(resolving->entry), arg_int(resolving->position),
                          arg_int(resolving->key), arg_text(resolving->note)),
                  answer);
}
