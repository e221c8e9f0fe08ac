/* SPDX-License-Identifier: ISC */
/* The statements of a close. Results are put into the given arena. */
#ifndef DEPOSITD_STORE_CLOSE_STORE_H
#define DEPOSITD_STORE_CLOSE_STORE_H

#include "depositd/fees.h"
#include "depositd/netting.h"
#include "depositd/seal.h"
#include "depositd/settlement.h"
#include "store/ledger_store.h"

MUST_CHECK enum store_result store_close_lock(struct pg *pg, int32_t scheme);
/* Does not wait; *held says whether the lock is held now. */
MUST_CHECK enum store_result store_close_try_lock(struct pg *pg, int32_t scheme, bool *held);
/* In a transaction that holds the head row: the feed shows the cut after the last entry so far. */
MUST_CHECK enum store_result store_close_cut(struct pg *pg, int32_t scheme, struct date date,
                                             struct instant now);

/* A site's day, before fees. */
struct closing_site {
    int32_t site, participant;
    bool open;
    struct money clearing;
};

MUST_CHECK enum store_result store_closing_sites(struct pg *pg, struct arena *arena, int32_t scheme,
                                                 struct date date, struct closing_site **sites,
                                                 size_t *count);

/* Cups that a site is charged for by the fees of one day: the cups that it issued and took back on the day
 * that closes; or, negative, the cups of an earlier day that reversals took back. */
struct counted_row {
    int32_t site;
    struct date fee_date;
    int32_t cup_type; /* 0: all types in one */
    struct cups issued, returned;
};

/* Ordered by site id. The second tells the cup types apart, and looks at each entry of the day for that. */
MUST_CHECK enum store_result store_closing_counted(struct pg *pg, struct arena *arena, int32_t scheme,
                                                   struct date date, struct counted_row **counted,
                                                   size_t *count);
MUST_CHECK enum store_result store_closing_counted_types(struct pg *pg, struct arena *arena, int32_t scheme,
                                                         struct date date, struct counted_row **counted,
                                                         size_t *count);

struct closing_participant {
    int32_t participant;
    struct money arrears;
    bool was_small;          /* carried for its size by the close before … */
    struct date small_since; /* … and since this pay day */
    struct money exceptions;
    bool bank_account_changed; /* since its last payout */
    bool first_payout;         /* the scheme began with an opening, and it has had none */
};

/* The days that a close pays for. */
struct unpaid_days {
    struct date from, through; /* the day after the last pay day; the day that closes */
};

/* The exceptions are those of the unpaid days. */
MUST_CHECK enum store_result store_closing_participants(struct pg *pg, struct arena *arena, int32_t scheme,
                                                        struct unpaid_days days,
                                                        struct closing_participant **participants,
                                                        size_t *count);

MUST_CHECK enum store_result store_holidays(struct pg *pg, struct arena *arena, int32_t scheme,
                                            struct date after, struct date **holidays, size_t *count);

/* Balances of the cup accounts whose cups change their value. */
MUST_CHECK enum store_result store_cups_through(struct pg *pg, struct arena *arena, int32_t scheme,
                                                struct date date, struct leg **balances, size_t *count);

MUST_CHECK enum store_result store_close_balances(struct pg *pg, int32_t scheme, struct date date);
MUST_CHECK enum store_result store_close_day(struct pg *pg, int32_t scheme, struct date date);
/* Issues the fee notes of the month that ends with the date. */
MUST_CHECK enum store_result store_close_fee_notes(struct pg *pg, int32_t scheme, struct date date);

/* Gives 32 zero bytes if no day is closed yet. */
MUST_CHECK enum store_result store_previous_seal(struct pg *pg, int32_t scheme, struct sha256 *seal);

struct settlement_row {
    int32_t scheme;
    struct date date;
    struct instant closed_at;
    int32_t closed_by; /* a key; 0: the service, by the clock */
    uint64_t entries;
    struct sha256 root, previous, seal;
};

struct position_row {
    int32_t participant;
    struct money amount, arrears;
    struct carrying carrying;
};

struct payment_row {
    char payment_id[36];
    int32_t payer, payee; /* 0: the pool */
    struct money amount;
    const char *held;         /* NULL: not held */
    int32_t host;             /* the pool pays this scheme's pool, and then …; 0: it does not */
    struct money agreed;      /* … this in the agreed currency, … */
    bool in_host_currency;    /* … which is the host's, else the scheme's own */
    struct money host_booked; /* the same returns in the host's books, in its own currency */
};

/* The debts of the scheme to each host through a day: `host`, `amount` in its books, and the members after
 * that. */
MUST_CHECK enum store_result store_between_due(struct pg *pg, struct arena *arena, int32_t scheme,
                                               struct date date, struct payment_row **due, size_t *count);

MUST_CHECK enum store_result store_add_settlement(struct pg *pg, const struct settlement_row *settlement);
MUST_CHECK enum store_result store_add_positions(struct pg *pg, int32_t scheme, struct date date,
                                                 const struct position_row *positions, size_t count);
MUST_CHECK enum store_result store_add_fee_lines(struct pg *pg, int32_t scheme, struct date date,
                                                 const struct fee_line *lines, size_t count);
MUST_CHECK enum store_result store_add_payments(struct pg *pg, int32_t scheme, struct date date,
                                                struct date due_on, const struct payment_row *payments,
                                                size_t count);

MUST_CHECK enum store_result store_add_pool_payments(struct pg *pg, int32_t scheme, struct date date,
                                                     struct date due_on, const struct payment_row *payments,
                                                     size_t count);

/* The clock's work for one scheme, and the state of the scheme's closes. */
struct close_work {
    int32_t scheme;
    const char *code;
    bool extend; /* the calendar must be extended */
    bool due;    /* this day must be closed */
    struct date date;
    bool has_open;         /* some day is not closed */
    struct instant due_at; /* when the first of these may be closed */
    int64_t open_days;
    bool has_closed;
    struct instant closed_at; /* of the last closed day */
};

MUST_CHECK enum store_result store_close_work(struct pg *pg, struct arena *arena, struct instant now,
                                              struct instant reach, struct close_work **work, size_t *count);

#endif
