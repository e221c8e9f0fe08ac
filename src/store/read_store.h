/* SPDX-License-Identifier: ISC */
/* Reading the ledger for the interface: one function per query. The database composes most answers as JSON,
 * and these functions only pass them on. Rows of reports go to the caller one by one. Every call runs one
 * statement unless it says otherwise, and may be part of a pg_begin_read. */
#ifndef DEPOSITD_STORE_READ_STORE_H
#define DEPOSITD_STORE_READ_STORE_H

#include "base/buffer.h"
#include "depositd/account.h"
#include "depositd/event.h"
#include "store/json_slice.h"
#include "store/proposed_store.h"

/* The sites whose rows a key may see. */
struct visible_sites {
    bool all;
    const int32_t *ids; /* unless `all` */
    size_t count;
};

/* Where a list begins: before all numbers, or beyond them. */
#define SLICE_START ((int64_t)-1)
#define SLICE_END   INT64_MAX

/* An instant, and the time that a clock in the scheme shows then, YYYY-MM-DDTHH:MM:SS. */
struct local_time {
    struct instant instant;
    const char *shown;
};
/* Of a local time in that form, or of `now` if it is NULL. */
MUST_CHECK enum store_result read_local_time(struct pg *pg, struct arena *arena, int32_t scheme,
                                             const char *local, struct instant now, struct local_time *time);

/* Appends instants, given as texts, as a clock in the scheme shows them: {"zone", "times": {text: local
 * time}}. */
MUST_CHECK enum store_result read_local_times(struct pg *pg, int32_t scheme, const char *const *texts,
                                              size_t count, struct buffer *json);

/* The ids as an argument, or null for all sites. */
struct pg_arg arg_sites(const struct visible_sites *visible);

/* A slice of a list in the order of a number: the entry, the account, the date in days. */
struct list_slice {
    int64_t after;     /* the number of the item that it is read from; SLICE_START or SLICE_END: none */
    int64_t after_day; /* only in a feed, whose last item may be the cut of a day: that day, since 1970 */
    struct slice_way way;
    int limit;
    struct buffer *items; /* gets the items' JSON, separated by commas */
    /* Set by the call. */
    int64_t first; /* the number of the first item that came, or of the place where one would have been */
    int64_t last, last_day; /* where the next slice in this way starts after */
    bool more;              /* whether the next slice may have items */
};

/* Runs a statement that gives the items and their numbers. */
MUST_CHECK enum store_result read_list_slice(struct pg *pg, const struct sql *sql, struct pg_args args,
                                             struct list_slice *slice);
/* The same for a list that can be read from either end. */
MUST_CHECK enum store_result read_list_way(struct pg *pg, const struct sql_ways *ways, struct pg_args args,
                                           struct list_slice *slice);

struct events_filter {
    int32_t scheme;
    struct visible_sites visible;
    int32_t site;                 /* 0: any */
    enum entry_kind kind;         /* KIND_NONE: any */
    const struct date *from, *to; /* business days; NULL: any */
    const char *reference;        /* NULL: any */
    const bool *late;             /* whether it is late; NULL: either */
};

/* Looks at a bounded number of entries. So a slice may have fewer items than the limit, or none, although
 * more follow. Runs two statements. */
MUST_CHECK enum store_result read_events(struct pg *pg, const struct events_filter *filter,
                                         struct list_slice *slice);
/* *found: the number of schemes that have an event with this id. The JSON is of the first. `scheme` 0:
 * any. */
MUST_CHECK enum store_result read_event(struct pg *pg, const struct uuid *id, int32_t scheme,
                                        const struct visible_sites *visible, struct buffer *json,
                                        size_t *found);
/* The same for an entry of any kind, by its number, which is above 0. */
MUST_CHECK enum store_result read_entry(struct pg *pg, int64_t entry, int32_t scheme,
                                        const struct visible_sites *visible, struct buffer *json,
                                        bool *found);

/* `missing`: only days that miss their close or a statement of the bank; NULL: all. */
MUST_CHECK enum store_result read_days(struct pg *pg, int32_t scheme, const char *missing,
                                       struct list_slice *slice);
/* The business day that contains now, or else the latest day; and the first day. */
MUST_CHECK enum store_result read_day_current(struct pg *pg, int32_t scheme, struct date *day,
                                              struct date *first);

MUST_CHECK enum store_result read_settlements(struct pg *pg, int32_t scheme,
                                              const struct visible_sites *visible, struct list_slice *slice);
/* *found false: the day is not closed or does not exist. */
MUST_CHECK enum store_result read_settlement(struct pg *pg, int32_t scheme, struct date day,
                                             const struct visible_sites *visible, struct buffer *json,
                                             bool *found);

/* `participant` 0: of all that are visible. */
MUST_CHECK enum store_result read_fee_notes(struct pg *pg, int32_t scheme, int32_t participant,
                                            const struct visible_sites *visible, struct list_slice *slice);
MUST_CHECK enum store_result read_fee_note(struct pg *pg, int32_t scheme, int64_t number,
                                           const struct visible_sites *visible, struct buffer *json,
                                           bool *found);

struct payments_filter {
    int32_t scheme;
    const char *status;           /* NULL: any */
    const bool *held;             /* whether it is held and not released; NULL: either */
    int32_t participant;          /* pays or is paid; 0: any */
    const struct date *from, *to; /* business days; NULL: any */
    const bool *waiting;          /* whether it is neither confirmed nor failed; NULL: either */
    const char *side;             /* of the participant: payer or payee; NULL: either */
    const bool *to_pools;         /* whether it is to another scheme's pool; NULL: either */
};

/* A slice of a list in the order of a text such as a code. */
struct key_slice {
    const char *after; /* the key of the item that it is read from; NULL: from the first */
    struct slice_asked asked;
};

/* Payments in order of day and id. */
MUST_CHECK enum store_result read_payment_list(struct pg *pg, const struct payments_filter *filter,
                                               const struct key_slice *wanted, struct buffer *json,
                                               struct json_slice *slice);
/* One payment with its history. *found false: the reader may see no payment with this id. */
MUST_CHECK enum store_result read_payment(struct pg *pg, const char *payment_id,
                                          const struct visible_sites *visible, struct buffer *json,
                                          bool *found);

/* Of the proposals that a list has. */
struct proposed_filter {
    const char *status;
    int32_t key;      /* the reader's */
    const bool *mine; /* whether the key's holder made it; NULL: either */
};

MUST_CHECK enum store_result read_proposed_list(struct pg *pg, int32_t scheme, enum proposed_family family,
                                                const struct proposed_filter *filter,
                                                struct list_slice *slice);
MUST_CHECK enum store_result read_proposed(struct pg *pg, const struct proposed_name *name,
                                           struct buffer *json, bool *found);

/* Schemes at a glance, as JSON objects with commas between them. The operator sees all money; another reader
 * sees the money of its participant (0: of none). `by_day`: with the cups out by day. */
struct glance_reader {
    bool for_operator, by_day;
    int32_t participant;
};
MUST_CHECK enum store_result read_glance(struct pg *pg, const int32_t *schemes, size_t count,
                                         const struct glance_reader *reader, struct buffer *json);

/* The tasks to look for, in some schemes. */
struct tasks_asked {
    const int32_t *schemes;
    size_t scheme_count;
    int32_t participant, key; /* the reader's; participant 0: none */
    const char *const *tasks; /* their names, in their order */
    size_t task_count;
    bool add_up;    /* gives a row for each task and currency, over all schemes */
    int limit;      /* one more row than that is given; 0: any number */
    int count_days; /* after which a site is to be counted again */
};
/* How many of a task wait. Texts are in the arena. */
struct task_row {
    const char *task;
    const char *scheme; /* its code; NULL: of several schemes, or of none */
    int64_t how_many;
    const char *first_day;    /* of the scheme; NULL: none */
    const char *since;        /* the first day of any of these; NULL: unknown */
    const char *count_before; /* the day before which a last count is too old; NULL: none */
    const char *json;         /* an object, with all but the link */
};
MUST_CHECK enum store_result read_tasks(struct pg *pg, struct arena *arena, const struct tasks_asked *asked,
                                        struct task_row **rows, size_t *count);

/* `as_of` NULL: now. ACCOUNT_NONE: of any kind. */
MUST_CHECK enum store_result read_accounts(struct pg *pg, int32_t scheme, enum account_kind kind,
                                           const struct date *as_of, struct list_slice *slice);

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
    const struct visible_sites *visible; /* NULL: the statement takes no sites */
    bool by_entry;                       /* the statement takes the entry after which to go on */
    int64_t after_entry;                 /* 0: from the first */
    size_t column_count;                 /* at most 32 */
};
/* Takes the cells of one row, which live until the call returns; a NULL cell has no value. `cells` itself is
 * NULL now and then, while no row comes. False: stop, which is no failure. */
typedef bool (*report_row)(void *context, const char *const *cells);
/* Reads a report of any size. Rows are not kept, and some may have been passed on before the statement
 * fails. */
MUST_CHECK enum store_result read_report(struct pg *pg, const struct report_query *query, report_row each,
                                         void *context);

struct check_figures {
    int64_t examined, broken;
    const char *detail; /* the first broken thing; NULL: not known yet */
};
/* *findings: one line for each finding, in memory of the arena. */
MUST_CHECK enum store_result read_check(struct pg *pg, struct arena *arena, const struct sql *sql,
                                        int32_t scheme, struct check_figures *figures, char **findings);
/* The same of some business days alone. */
struct check_days {
    int32_t scheme;
    struct date first, last;
};
MUST_CHECK enum store_result read_check_of_days(struct pg *pg, struct arena *arena, const struct sql *sql,
                                                const struct check_days *days, struct check_figures *figures,
                                                char **findings);
/* Keeps how the checks ended: for each scheme, how many are broken. In a transaction of its own. */
struct check_verdict {
    int32_t scheme;
    int32_t broken;
};
MUST_CHECK enum store_result store_check_run_put(struct pg *pg, const struct check_verdict *verdicts,
                                                 size_t count);

#endif
