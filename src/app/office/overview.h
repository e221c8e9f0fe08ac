/* SPDX-License-Identifier: ISC */
/* All schemes on one page, the worst first: each with its shortfall, and with all that is late, owed or open.
 * It records nothing. */
#ifndef DEPOSITD_APP_OFFICE_OVERVIEW_H
#define DEPOSITD_APP_OFFICE_OVERVIEW_H

#include "app/transaction/fault.h"
#include "depositd/money.h"
#include "depositd/network.h"
#include "store/overview_store.h"

/* The states of a scheme, the worst first. X(name, word) */
#define OVERVIEW_STATE_TABLE(X)                                                                              \
    X(UNCOVERED, "uncovered") /* the pool has less than the deposits that it holds */                        \
    X(LATE, "late")           /* days not closed in time, late events, sites not counted for long */         \
    X(OWED, "owed")           /* payments wait, or are in arrears */                                         \
    X(OPEN, "open")           /* exceptions, journals, openings or lines of the bank wait for a person */    \
    X(CLEAR, "clear")         /* none of these */

enum overview_state {
#define X(name, word) OVERVIEW_##name,
    OVERVIEW_STATE_TABLE(X)
#undef X
        OVERVIEW_STATES
};
extern const char *const overview_states[]; /* words, NULL-ended */

/* The amounts of a scheme. X(name, word) */
#define OVERVIEW_AMOUNT_TABLE(X)                                                                             \
    X(UNCOVERED, uncovered) /* by how much the pool is short, or 0 */                                        \
    X(TO_COLLECT, to_collect)                                                                                \
    X(TO_PAY, to_pay)                                                                                        \
    X(ARREARS_TO_POOL, arrears_to_pool)                                                                      \
    X(ARREARS_OF_POOL, arrears_of_pool)

enum overview_amount {
#define X(name, word) OVERVIEW_AMOUNT_##name,
    OVERVIEW_AMOUNT_TABLE(X)
#undef X
        OVERVIEW_AMOUNTS
};

/* The counts of a scheme that are tasks of the start page. X(name, word, its task, another of its tasks) */
#define OVERVIEW_COUNT_TABLE(X)                                                                              \
    X(DAYS, days_not_closed, "days_not_closed", NULL)                                                        \
    X(COUNTS, sites_to_count, "sites_to_count", NULL)                                                        \
    X(EXCEPTIONS, exceptions_open, "exceptions_open", NULL)                                                  \
    X(JOURNALS, journals_open, "journals_to_approve", "journals_proposed")                                   \
    X(OPENINGS, openings_open, "openings_to_approve", "openings_proposed")                                   \
    X(BANK_LINES, bank_lines_open, "bank_lines_open", NULL)

enum overview_count {
#define X(name, ...) OVERVIEW_COUNT_##name,
    OVERVIEW_COUNT_TABLE(X)
#undef X
        OVERVIEW_COUNTS
};

struct overview_row {
    const struct scheme *scheme;
    struct date today, late_from; /* late_from 0: no late events */
    struct money amounts[OVERVIEW_AMOUNTS];
    int64_t counts[OVERVIEW_COUNTS];
    int64_t late_events, overdue;
    const char *first_day, *count_before; /* for links; NULL: none */
};

bool overview_is(const struct overview_row *row, enum overview_state state);
/* The first of its states. */
enum overview_state overview_worst(const struct overview_row *row);
/* For qsort. Worse rows come first: a pool that is short, then more days not closed, then more payments
 * overdue, then arrears, then more open things, then the code. Amounts are not compared, because currencies
 * differ. */
int overview_order(const void *left, const void *right);

/* The sums of a currency. */
struct overview_sums {
    const struct currency *currency;
    int64_t schemes;
    struct money amounts[OVERVIEW_AMOUNTS];
};

struct overview_rate {
    const struct currency *of;
    struct decimal rate; /* of one unit, in units of another currency */
};

struct overview {
    struct overview_row *rows; /* the worst first */
    size_t count;
    struct overview_sums *sums; /* by currency code */
    size_t sum_count;
};

struct overview_question {
    const struct network *network;
    const int32_t *schemes;
    size_t scheme_count;
    bool has_state;
    enum overview_state state;
    int32_t key;
    int count_days; /* after which a site is to be counted again */
};

/* In the arena. Faults: a sum is too large. */
MUST_CHECK enum store_result overview_read(struct pg *pg, struct arena *arena,
                                           const struct overview_question *question,
                                           struct overview *overview, struct faults *faults);

/* All sums in one currency. `rates` has each other currency of the sums. False: too large. */
MUST_CHECK bool overview_in_one(const struct overview *overview, const struct currency *currency,
                                const struct overview_rate *rates, size_t rate_count,
                                struct overview_sums *one);

#endif
