/* SPDX-License-Identifier: ISC */
/* What must hold at every committed moment, and the checks that it does.
 *
 * Each check is one row of a table: most are one statement under sql/checks, which computes its figures from
 * the raw entries and never from what it checks; those that need hashing are functions. They run in one
 * read-only transaction, so that all see the same moment, and cost by the size of the ledger. */
#ifndef DEPOSITD_APP_CHECKS_H
#define DEPOSITD_APP_CHECKS_H

#include "depositd/network.h"
#include "store/read_store.h"

struct check_scope {
    struct pg *pg;
    struct arena *arena;
    const struct network *network;
    const struct scheme *scheme;
};

struct check {
    const char *name;
    const char *title;     /* what holds */
    const struct sql *sql; /* NULL: run */
    enum store_result (*run)(const struct check_scope *scope, struct check_figures *figures);
};

const struct check *checks_all(size_t *count);

struct check_result {
    const struct check *check;
    const struct scheme *scheme;
    int64_t examined, broken;
    const char *detail; /* what is broken first, else what holds */
};

struct check_results {
    struct check_result *items; /* by scheme, then in the order of the table */
    size_t count;
    bool hold; /* all of them */
};

/* Of one scheme, or with NULL of all; a code that is none gives no results. Results are of the arena. */
MUST_CHECK enum store_result checks_run(struct pg *pg, struct arena *arena, const char *scheme,
                                        struct check_results *results);

/* The one that is not a statement: recomputes leaves, roots and seals. */
MUST_CHECK enum store_result check_seals(const struct check_scope *scope, struct check_figures *figures);

#endif
