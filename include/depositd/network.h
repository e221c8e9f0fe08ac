/* SPDX-License-Identifier: ISC */
/* The network that events happen in: schemes with their values and terms, participants, sites, cup types, and
 * the calendar of business days. It holds only what posting needs: plain data that never changes once it is
 * loaded. Pure; any number of threads may read one network. */
#ifndef DEPOSITD_NETWORK_H
#define DEPOSITD_NETWORK_H

#include "depositd/account.h"
#include "depositd/event.h"
#include "depositd/pay_days.h"

enum stock_terms { ON_LOAN, ON_DEPOSIT };
enum netting_mode { NETTING_CENTRAL, NETTING_DIRECT };
enum site_kind { SITE_CAFE, SITE_RETURN_POINT, SITE_HUB, SITE_KINDS };

#define DATE_OPEN_ENDED ((struct date){INT32_MAX})

struct cup_type {
    int32_t id;
    char code[CODE_SIZE];
    const char *name; /* for people */
};

/* Whether a participant is registered for tax, from a business day on. */
struct tax_registration {
    int32_t participant;
    struct date from;
    bool registered;
};

struct participant {
    int32_t id;
    char code[CODE_SIZE];
    const char *name;
    bool tax_registered;                          /* until the first of … */
    const struct tax_registration *registrations; /* by date */
    size_t registration_count;
};

/* The kind of a site, from a business day on. */
struct site_kind_change {
    int32_t site;
    struct date from;
    enum site_kind kind;
};

struct site {
    int32_t id;
    char code[CODE_SIZE];
    const char *name;
    int32_t scheme; /* ids */
    int32_t participant;
    enum site_kind kind; /* until the first of `kinds` */
    struct date opened_on;
    struct date closed_on;                /* its last day; DATE_OPEN_ENDED while it is open */
    const struct site_kind_change *kinds; /* by date */
    size_t kind_count;
};

/* The value of a cup on return, from a business day on. */
struct refund_value {
    int32_t cup_type;
    struct date from;
    struct money amount;
};

/* Per cup issued, per cup returned, per site and month. */
enum fee_kind { FEE_SERVICE, FEE_HANDLING, FEE_STANDING };
enum { FEE_KINDS = 3 };

/* A row of fees: the fees that it states, for the cups that fit what it names. */
struct fee_row {
    int32_t participant, cup_type; /* 0: any */
    bool names_kind;
    enum site_kind site_kind; /* if names_kind */
    bool states[FEE_KINDS];
    struct money fee[FEE_KINDS];
};

struct terms {
    struct date from;
    enum netting_mode netting;
    struct money minimum_payment;
    struct money fee[FEE_KINDS];    /* where no row states another */
    const struct fee_row *fee_rows; /* in the order of the document */
    size_t fee_row_count;
    struct rate tax_rate;
    bool charge_shortages;
    bool charge_variances;
    struct pay_days pay_days;
};

/* The amount of a cup of one type, in the agreed currency. */
struct agreement_value {
    int32_t cup_type;
    struct money amount;
};

/* An agreement between two schemes, from a business day of the host on: how much the home owes the host for
 * each of its cups that the host takes back. All agreements of a pair are in one currency. */
struct agreement {
    int32_t home, host; /* schemes */
    struct date from;
    bool in_host_currency;     /* else it is in the home's */
    struct exchange_rate rate; /* units of the other one's currency for one of the agreed currency */
    const struct agreement_value *values; /* by cup type; none: from that day on nothing is agreed */
    size_t value_count;
};

enum { SCHEME_GROUPS_MAX = 16 };

struct scheme {
    int32_t id;
    char code[CODE_SIZE];
    const struct currency *currency;
    enum stock_terms stock_terms;
    struct cups count_tolerance;
    bool variance_limited;
    struct money variance_limit;
    int32_t carry_days;
    enum bearer loss_bearer; /* unless the loss says another */
    int32_t close_after_minutes;
    int32_t group;                     /* 1 to SCHEME_GROUPS_MAX: whose writer posts its events */
    struct instant first_start;        /* of its first business day; the time of loading while it has none */
    struct date closed_on;             /* its last day; DATE_OPEN_ENDED: none is known */
    const struct refund_value *values; /* by cup type, then date */
    size_t value_count;
    const struct terms *terms; /* by date */
    size_t terms_count;
};

/* Each array of things with codes is in ascending order of the codes. */
struct network {
    int64_t version;
    const struct scheme *schemes;
    size_t scheme_count;
    const struct participant *participants;
    size_t participant_count;
    const struct site *sites;
    size_t site_count;
    const struct cup_type *cup_types;
    size_t cup_type_count;
    const struct agreement *agreements; /* by home, host and date */
    size_t agreement_count;
    /* The same by id: index id, NULL where there is none. */
    const struct scheme *const *scheme_by_id;
    const struct participant *const *participant_by_id;
    const struct site *const *site_by_id;
    const struct cup_type *const *cup_type_by_id;
    int32_t scheme_ids, participant_ids, site_ids, cup_type_ids; /* highest id + 1 */
    int32_t highest_group;                                       /* of any scheme; 0: there is none */
};

/* By code; NULL: none. */
const struct scheme *network_scheme(const struct network *network, const char *code);
const struct participant *network_participant(const struct network *network, const char *code);
const struct site *network_site(const struct network *network, const char *code);
const struct cup_type *network_cup_type(const struct network *network, const char *code);

/* The account of a name, as answers write it: bank, site_clearing(anchor), site_stock(anchor,cup-300). False:
 * it is no account, or names what there is not. */
MUST_CHECK bool network_account(const struct network *network, const char *name, struct account *account);
/* Whether the participant has a site in the scheme. */
bool network_takes_part(const struct network *network, int32_t participant, int32_t scheme);
/* Whether the scheme's ledger may have the account: its site is of the scheme, its participant takes part. */
bool network_account_is_of(const struct network *network, struct account account, int32_t scheme);

/* The value in force on a business day. False: none yet. */
MUST_CHECK bool scheme_value(const struct scheme *scheme, int32_t cup_type, struct date day,
                             struct money *value);
/* The terms in force on a business day; NULL before the first. */
const struct terms *scheme_terms(const struct scheme *scheme, struct date day);
/* Whether a business day is a pay day by the terms in force on it. The scheme has terms by then. */
bool scheme_pays_on(const struct scheme *scheme, struct date day);
/* The day after the last pay day before this day: from there on nothing has been paid. If there was no pay
 * day, the day of the first terms. */
struct date scheme_unpaid_from(const struct scheme *scheme, struct date day);

/* The agreement in force on a business day of the host. NULL: there was none by then. It may have no values.
 */
const struct agreement *network_agreement(const struct network *network, int32_t home, int32_t host,
                                          struct date day);
/* The amount of a cup, in the agreed currency. False: nothing is agreed for the type, or `agreement` is NULL.
 */
MUST_CHECK bool agreement_value_of(const struct agreement *agreement, int32_t cup_type, struct money *value);
/* An amount of the agreed currency in the currency of the pair's scheme with the id, rounded half to even:
 * unchanged where that is the scheme whose currency is agreed. False: it does not fit. */
MUST_CHECK bool agreement_in_books(const struct network *network, const struct agreement *agreement,
                                   int32_t scheme, struct money agreed, struct money *booked);

/* As it is on a business day. */
bool participant_tax_registered(const struct participant *participant, struct date day);
enum site_kind site_kind_on(const struct site *site, struct date day);

/* How far ahead of the clock an event may lie, and calendars therefore reach. */
enum { FUTURE_ALLOWED_US = 5 * 60 * 1000000 };

enum day_state { DAY_OPEN, DAY_CLOSING, DAY_CLOSED, DAY_STATES };

/* From `starts_at` until just before `ends_at`; a day may have no length at all. */
struct business_day {
    struct date date;
    struct instant starts_at;
    struct instant ends_at;
    enum day_state state;
};

/* The days of a scheme, without gaps: from its first day on, or only the later ones with all that are open.
 */
struct calendar {
    const struct business_day *days;
    size_t count;
};

/* The day in which an instant lies; NULL: before the first or after the last. */
const struct business_day *calendar_day_of(const struct calendar *calendar, struct instant instant);
const struct business_day *calendar_day(const struct calendar *calendar, struct date date);
/* Where an event of that day posts: the day itself, or if it is no longer open the earliest open day; NULL:
 * none. */
const struct business_day *calendar_posting_day(const struct calendar *calendar,
                                                const struct business_day *occurrence);

#endif
