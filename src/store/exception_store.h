/* SPDX-License-Identifier: ISC */
/* Resolving exceptions: a person has looked at them. */
#ifndef DEPOSITD_STORE_EXCEPTION_STORE_H
#define DEPOSITD_STORE_EXCEPTION_STORE_H

#include "base/buffer.h"
#include "store/pg.h"

/* Which exception, and what the person says of it. */
struct exception_resolving {
    int32_t scheme;
    int64_t entry;
    int32_t position;
    int32_t key;
    struct instant now;
    const char *note;
};

/* Does nothing where there is no such exception, or where it is resolved already. */
MUST_CHECK enum store_result store_exception_resolve(struct pg *pg,
                                                     const struct exception_resolving *resolving);
/* Appends the exception as JSON. *found false: there is none. *as_said: it was resolved by this key with this
 * note. */
MUST_CHECK enum store_result store_exception_get(struct pg *pg, const struct exception_resolving *resolving,
                                                 struct buffer *json, bool *found, bool *as_said);

#endif
