/* SPDX-License-Identifier: ISC */
/* The invariants that hold at every committed moment, and their checks.
 *
 * Each check is a row of a table. Most checks are a single statement under sql/checks, which computes its
 * figures from the raw entries and never from the data that it checks. The checks that need hashing are
 * functions. All checks run in one read-only transaction, so all see the same moment. Their cost grows with
 * the size of the ledger. The last verdict of each scheme is kept for the start page. */
#ifndef DEPOSITD_APP_PROOF_CHECKS_H
#define DEPOSITD_APP_PROOF_CHECKS_H

#include "depositd/network.h"
#include "store/read_store.h"

struct check;

/* Is told of each finding as it is found. */
struct check_listener {
    void (*found)(void *context, const struct scheme *scheme, const struct check *check, const char *finding);
    void *context;
};

/* Business days that are checked alone. */
struct check_period {
    struct date first, last;
};

struct check_scope {
    const struct check_period *period; /* NULL: all days */
    struct pg *pg;
    struct arena *arena;
    const struct network *network;
    const struct check_listener *listener; /* NULL: no listener */
    const struct scheme *scheme;
    const struct check *check;
};

struct check {
    const char *name;
    const char *title;     /* the invariant, in words */
    const struct sql *sql; /* gives at most 1000 findings, a line each; NULL: run */
    enum store_result (*run)(const struct check_scope *scope, struct check_figures *figures);
};

/* Those of a period, or of all days if it is NULL. */
const struct check *checks_of(const struct check_period *period, size_t *count);

struct check_result {
    const struct check *check;
    const struct scheme *scheme;
    int64_t examined, broken;
    const char *detail; /* the first finding, or the invariant if there is none */
};

struct check_results {
    struct check_result *items; /* by scheme, then in the order of the table */
    size_t count;
    bool hold; /* all checks hold */
};

/* Checks a single scheme, or all if the code is NULL. An unknown code gives no results. Results are in the
 * arena. With a period only the checks of it run. These read its entries, and no others; they take it for
 * granted that the day before the period is as it was sealed. */
MUST_CHECK enum store_result checks_run(struct pg *pg, struct arena *arena, const char *scheme,
                                        const struct check_period *period,
                                        const struct check_listener *listener, struct check_results *results);

/* For the checks that are functions: counts the examined things, and reports the findings. */
void check_examined(const struct check_scope *scope, struct check_figures *figures, bool broken,
                    const char *format, ...) PRINTF_LIKE(4, 5);

/* Recomputes leaves, roots and seals. */
MUST_CHECK enum store_result check_seals(const struct check_scope *scope, struct check_figures *figures);
/* Recomputes the particulars of the days. */
MUST_CHECK enum store_result check_particulars(const struct check_scope *scope,
                                               struct check_figures *figures);

#endif
