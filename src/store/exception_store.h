/* SPDX-License-Identifier: ISC */
/* Resolving exceptions after a person has looked at them. */
#ifndef DEPOSITD_STORE_EXCEPTION_STORE_H
#define DEPOSITD_STORE_EXCEPTION_STORE_H

#include "base/buffer.h"
#include "depositd/exceptions.h"
#include "store/pg.h"

/* The exception, and the person's words about it. */
struct exception_resolving {
    int32_t scheme;
    int64_t entry;
    int32_t position;
    int32_t key;
    struct instant now;
    const char *note;
    int64_t proposal; /* whose approval it has; 0: it needs none */
};

struct exception_state {
    enum exception_kind kind;
    bool is_resolved;
    bool as_said; /* this key has resolved it with this note */
};

/* Reads the next column: a kind of exception by its word. For the files of src/store. */
struct pg_row;
enum exception_kind row_exception_kind(struct pg_row *row);

/* Does nothing if there is no such exception, or if it is resolved already. */
MUST_CHECK enum store_result store_exception_resolve(struct pg *pg,
                                                     const struct exception_resolving *resolving);
/* Appends the exception as JSON. *found false: there is no such exception. */
MUST_CHECK enum store_result store_exception_get(struct pg *pg, const struct exception_resolving *resolving,
                                                 struct buffer *json, bool *found,
                                                 struct exception_state *state);

#endif
