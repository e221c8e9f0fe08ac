/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/exception_store.h"

#include "sql.h"
#include "store/pg_ask.h"

enum store_result store_exception_resolve(struct pg *pg, const struct exception_resolving *resolving)
{
    return pg_run(pg, &sql_exception_resolve,
                  PG_ARGS(arg_int(resolving->scheme), arg_int(resolving->entry), arg_int(resolving->position),
                          arg_instant(resolving->now), arg_int(resolving->key), arg_text(resolving->note),
                          arg_int(resolving->proposal)));
}

enum exception_kind row_exception_kind(struct pg_row *row)
{
    const char *words[EXCEPTION_KINDS];
    for (int kind = 0; kind < EXCEPTION_KINDS; kind++)
        words[kind] = exception_word((enum exception_kind)kind);
    return (enum exception_kind)row_word(row, words, EXCEPTION_KINDS);
}

static void take_exception(struct pg_row *row, void *into)
{
    struct exception_state *state = row->shared;
    row_append(row, into);
    state->kind = row_exception_kind(row);
    state->is_resolved = row_bool(row);
    state->as_said = row_bool(row);
}

enum store_result store_exception_get(struct pg *pg, const struct exception_resolving *resolving,
                                      struct buffer *json, bool *found, struct exception_state *state)
{
    struct pg_answer answer = pg_maybe(NULL, take_exception, json, found);
    answer.shared = state;
    *state = (struct exception_state){0};
    return pg_ask(pg, &sql_exception_get,
                  PG_ARGS(arg_int(resolving->scheme), arg_int(resolving->entry), arg_int(resolving->position),
                          arg_int(resolving->key), arg_text(resolving->note)),
                  answer);
}
