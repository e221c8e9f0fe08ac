/* SPDX-License-Identifier: ISC */
/* Reading the ledger for the interface: one function per query. Most answers are composed by the database as
 * JSON and only passed on here; rows of reports go to the caller one by one. Every call runs one statement,
 * or the two that it names, and may be part of a pg_begin_read. */
#ifndef DEPOSITD_STORE_READ_STORE_H
#define DEPOSITD_STORE_READ_STORE_H

#include "base/buffer.h"
#include "depositd/event.h"
#include "store/json_slice.h"

/* The sites whose rows a key may see. */
struct visible_sites {
    bool all;
    const int32_t *ids; /* unless all */
    size_t count;
};

enum { SLICE_START = -1 };

/* Their ids, or null for all. */
struct pg_arg arg_sites(const struct visible_sites *visible);

/* A slice of a list that is in ascending order of a number: the entry, the account, the date in days. */
struct list_slice {
    int64_t after; /* the number of the last item before it; SLICE_START: none */
    int limit;
    struct buffer *items; /* gets the items' JSON, separated by commas */
    /* Set by the call. */
    int64_t last; /* where the next slice starts after */
    bool more;    /* whether it may have items */
};

/* Runs a statement that gives the items and their numbers. */
MUST_CHECK enum store_result read_list_slice(struct pg *pg, const struct sql *sql, struct pg_args args,
                                             struct list_slice *slice);

struct events_filter {
    int32_t scheme;
    struct visible_sites visible;
    int32_t site;                 /* 0: any */
    enum entry_kind kind;         /* KIND_NONE: any */
    const struct date *from, *to; /* business days; NULL: any */
    const char *reference;        /* NULL: any */
};

/* Looks at a bounded number of entries, so that a slice may have fewer items than the limit, or none, and yet
 * be followed by more. Two statements. */
MUST_CHECK enum store_result read_events(struct pg *pg, const struct events_filter *filter,
                                         struct list_slice *slice);
/* *found: in how many schemes the id is; the JSON is that of the first. `scheme` 0: in all. */
MUST_CHECK enum store_result read_event(struct pg *pg, const struct uuid *id, int32_t scheme,
                                        const struct visible_sites *visible, struct buffer *json,
                                        size_t *found);
/* The same of any entry, by its number: above 0. */
MUST_CHECK enum store_result read_entry(struct pg *pg, int64_t entry, int32_t scheme,
                                        const struct visible_sites *visible, struct buffer *json,
                                        bool *found);

MUST_CHECK enum store_result read_days(struct pg *pg, int32_t scheme, struct list_slice *slice);
/* The business day that contains now, or the latest there is; and the first. */
MUST_CHECK enum store_result read_day_current(struct pg *pg, int32_t scheme, struct date *day,
                                              struct date *first);

MUST_CHECK enum store_result read_settlements(struct pg *pg, int32_t scheme,
                                              const struct visible_sites *visible, struct list_slice *slice);
/* *found false: that day is not closed, or not there. */
MUST_CHECK enum store_result read_settlement(struct pg *pg, int32_t scheme, struct date day,
                                             const struct visible_sites *visible, struct buffer *json,
                                             bool *found);

struct payments_filter {
    int32_t scheme;
    const char *status;           /* NULL: any */
    const bool *held;             /* whether it is held and not released; NULL: either */
    int32_t participant;          /* that pays or is paid; 0: any */
    const struct date *from, *to; /* business days; NULL: any */
};

/* By day and id; `after` is the key of the last one before, or NULL. */
MUST_CHECK enum store_result read_payment_list(struct pg *pg, const struct payments_filter *filter,
                                               const char *after, int limit, struct buffer *json,
                                               struct json_slice *slice);
/* With its history. *found false: there is none that may be shown. */
MUST_CHECK enum store_result read_payment(struct pg *pg, const char *payment_id,
                                          const struct visible_sites *visible, struct buffer *json,
                                          bool *found);

/* Journals that were proposed, with a status. */
MUST_CHECK enum store_result read_journals(struct pg *pg, int32_t scheme, const char *status,
                                           struct list_slice *slice);
MUST_CHECK enum store_result read_journal(struct pg *pg, int32_t scheme, const struct uuid *id,
                                          struct buffer *json, bool *found);

/* Schemes at a glance, as JSON objects with commas between them: all of each for its operator, else what is
 * the participant's (0: nobody's). */
MUST_CHECK enum store_result read_glance(struct pg *pg, const int32_t *schemes, size_t count,
                                         bool for_operator, int32_t participant, struct buffer *json);

/* `as_of` NULL: as the balances stand. */
MUST_CHECK enum store_result read_accounts(struct pg *pg, int32_t scheme, const struct date *as_of,
                                           struct list_slice *slice);

struct report_argument {
    enum { ARGUMENT_NULL, ARGUMENT_DAY, ARGUMENT_NUMBER } kind;
    struct date day;
    int64_t number; /* an id, or an account */
};
struct report_query {
    const struct sql *sql;
    int32_t scheme;
    const struct report_argument *arguments;
    size_t argument_count;
    const struct visible_sites *visible; /* NULL: the statement does not ask for it */
    bool by_entry;                       /* the statement asks for the entry to go on after */
    int64_t after_entry;                 /* 0: from the first */
    size_t column_count;                 /* at most 32 */
};
/* A row's cells live until the call returns; a NULL one: nothing. `cells` itself is NULL, now and then, while
 * no row comes. False: no more are wanted, which is no failure. */
typedef bool (*report_row)(void *context, const char *const *cells);
/* Of any size: the rows are not kept, and may have been given before it fails. */
MUST_CHECK enum store_result read_report(struct pg *pg, const struct report_query *query, report_row each,
                                         void *context);

struct check_figures {
    int64_t examined, broken;
    const char *detail; /* of an arena; what is broken first; NULL: not known yet */
};
/* *findings: a line for each, of the arena. */
MUST_CHECK enum store_result read_check(struct pg *pg, struct arena *arena, const struct sql *sql,
                                        int32_t scheme, struct check_figures *figures, char **findings);

#endif
