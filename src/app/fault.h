/* SPDX-License-Identifier: ISC */
/* What is wrong with a request: a list of faults, each with a reason and where it stands. Filled by whoever
 * finds them, from the shape of the JSON to the ledger's own refusals; made into a problem answer at the end.
 * Memory comes from the arena given at init; where there is none left, the list says just that. Owned by one
 * thread at a time. */
#ifndef DEPOSITD_APP_FAULT_H
#define DEPOSITD_APP_FAULT_H

#include "base/arena.h"
#include "depositd/reason.h"

enum { FAULTS_MAX = 50 }; /* further ones are dropped */

struct fault {
    enum reason reason;
    const char *pointer;   /* RFC 6901, into the body; "" is its root; NULL for a query parameter */
    const char *parameter; /* the query parameter's name, else NULL */
    const char *detail;    /* a sentence */
};

struct faults {
    struct arena *arena;
    struct fault *items;
    size_t count, capacity;
};

void faults_init(struct faults *faults, struct arena *arena);
void faults_add(struct faults *faults, enum reason reason, const char *pointer, const char *format, ...)
    PRINTF_LIKE(4, 5);
/* With the reason's title for a detail, about no member of a body. */
void faults_refuse(struct faults *faults, enum reason reason);
void faults_add_parameter(struct faults *faults, enum reason reason, const char *parameter,
                          const char *format, ...) PRINTF_LIKE(4, 5);

#endif
