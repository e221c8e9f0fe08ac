/* SPDX-License-Identifier: ISC */
/* Reference data in the database: the rows as they are put, the facts that a change depends on, and the rows
 * as JSON, as a given key may see them. app/network decides whether a change is allowed.
 *
 * In the rows, a text that was not given is NULL and a code "". Words are held as indices into the lists
 * below. */
#ifndef DEPOSITD_STORE_REFERENCE_STORE_H
#define DEPOSITD_STORE_REFERENCE_STORE_H

#include "base/buffer.h"
#include "depositd/access.h"
#include "depositd/pay_days.h"
#include "store/json_slice.h"

/* NULL-ended. */
extern const char *const netting_words[];
extern const char *const bearing_words[]; /* shortage_terms, variance_terms */
extern const char *const stock_terms_words[];
extern const char *const loss_bearer_words[]; /* one less than enum bearer */
extern const char *const site_kind_words[];

/* A list as the shapes of JSON bodies fill it. */
struct reference_list {
    void *items;
    size_t count;
};

struct bank_account {
    const char *iban;
    const char *account, *bank_code;
};

/* Each row begins with the codes and dates that name it, in the order of the path. */
struct cup_type_row {
    char cup_type[CODE_SIZE];
    const char *name;
    int64_t volume_ml, mass_g;
    const char *grai;
};

struct mandate {
    const char *id;
    struct date signed_on;
};

struct participant_row {
    char participant[CODE_SIZE];
    const char *name;
    struct bank_account bank_account;
    bool has_bank_account;
    const char *bic;
    bool tax_registered, has_tax_registered;
    struct mandate mandate;
    bool has_mandate;
};

/* A dated value of a participant, and one of a site. */
struct tax_registration_row {
    char participant[CODE_SIZE];
    struct date effective_date;
    bool tax_registered;
};

struct site_kind_row {
    char site[CODE_SIZE];
    struct date effective_date;
    int kind;
};

/* The most rows of fees in one document of terms. */
enum { FEE_ROWS_MAX = 1000 };

/* Codes that are "": any. */
struct fee_row_row {
    char participant[CODE_SIZE];
    char cup_type[CODE_SIZE];
    int site_kind;
    bool has_site_kind;
    struct decimal service_fee, handling_fee, monthly_fee;
    bool has_service_fee, has_handling_fee, has_monthly_fee;
};

struct terms_row {
    struct date effective_date;
    int netting;
    struct decimal minimum_payment, service_fee, handling_fee, monthly_fee;
    bool has_monthly_fee;
    struct reference_list fees; /* of struct fee_row_row */
    struct rate tax_rate;
    int shortage_terms, variance_terms;
    struct pay_days pay_days;
};

struct refund_value_row {
    char cup_type[CODE_SIZE];
    struct date effective_date;
    struct decimal amount;
};

/* The code and name that the office's own ledger has for an account. */
struct office_account_row {
    const char *account; /* its name, or that of a kind, for all accounts of the kind without their own */
    const char *code, *name;
};

struct office_accounts_row {
    struct date effective_date;
    struct reference_list accounts; /* of struct office_account_row */
};

struct scheme_operator {
    const char *name;
    struct bank_account bank_account;
    const char *bic;
    const char *creditor_id;
};

struct scheme_row {
    char scheme[CODE_SIZE];
    const char *currency;
    const char *time_zone;
    int64_t cut_off; /* minutes */
    int64_t close_after_minutes;
    bool has_close_after_minutes;
    int stock_terms;
    struct rate return_target;
    bool has_return_target;
    bool dual_control, has_dual_control;
    int64_t count_tolerance;
    struct decimal variance_limit;
    bool has_variance_limit;
    int64_t carry_days;
    bool has_carry_days;
    int loss_bearer;
    bool has_loss_bearer;
    struct scheme_operator operator;
    bool has_operator;
    struct reference_list holidays; /* of struct date */
    struct date closed_on;
    bool has_closed_on;
    int64_t group;
    bool has_group;
    struct reference_list terms, refund_values, office_accounts;
};

struct par_stock_row {
    char cup_type[CODE_SIZE];
    int64_t quantity;
};

struct site_row {
    char site[CODE_SIZE];
    char scheme[CODE_SIZE];
    char participant[CODE_SIZE];
    const char *name;
    int kind;
    struct date opened_on, closed_on;
    bool has_closed_on;
    double latitude, longitude;
    bool has_latitude, has_longitude;
    const char *gln;
    struct reference_list par_stock; /* of struct par_stock_row */
    int64_t count_days;              /* after which it is to be counted again */
    bool has_count_days;
};

/* The author of a change of reference data or keys, and the reason. Each change records both. */
struct change_author {
    int32_t key;      /* 0: the command line */
    const char *why;  /* NULL: not said */
    int64_t proposal; /* the proposal that this approves; 0: none */
};

/* Begins a change within the current transaction: raises the version of the reference data and locks the head
 * row of every scheme. So no event is posted between the reads of the change and its commit. */
MUST_CHECK enum store_result store_reference_lock(struct pg *pg, const struct change_author *author,
                                                  struct instant now, int64_t *version);

struct scheme_facts {
    bool posted_or_closed;
    bool currency_changes, time_zone_changes, cut_off_changes, stock_terms_changes;
    bool time_zone_known;
    bool ends_too_soon;       /* its last day changes to an earlier one, which does not end in time */
    int decimals_in_use;      /* of its terms and refund values; -1: there are none */
    bool shares_bank_account; /* its operator's would be that of another scheme, and was not before */
};
MUST_CHECK enum store_result store_scheme_facts(struct pg *pg, const struct scheme_row *row,
                                                struct scheme_facts *facts);

/* The facts that decide whether a value may hold from a business day on. */
struct dating_facts {
    bool scheme_known, cup_type_known;
    int decimals; /* of a known scheme */
    bool posted;
    bool posted_or_closed;
    bool starts_in_time;    /* the day starts more than 5 minutes from now */
    bool first_of_open_day; /* no value of the cup type holds by then, and the day still takes entries */
    bool too_long_ago;      /* for a scheme to begin */
    bool before_the_days_made;
};
/* `cup_type` NULL: terms are to hold. */
MUST_CHECK enum store_result store_dating_facts(struct pg *pg, const char *scheme, const char *cup_type,
                                                struct date effective_date, struct dating_facts *facts);

struct site_facts {
    bool scheme_known, participant_known;
    bool scheme_changes, participant_changes;
    bool posted;                /* read only if scheme or participant changes */
    bool kind_fixed;            /* the kind changes, and something depends on it */
    int64_t *unknown_cup_types; /* indices into par_stock, in memory of the arena */
    size_t unknown_cup_type_count;
};
MUST_CHECK enum store_result store_site_facts(struct pg *pg, struct arena *arena, const struct site_row *row,
                                              struct site_facts *facts);

/* The numbers of the accounts, in memory of the arena; 0: the scheme has no such account. */
struct office_accounts_facts {
    bool scheme_known;
    int64_t *numbers;
    size_t count;
};
MUST_CHECK enum store_result store_office_accounts_facts(struct pg *pg, struct arena *arena,
                                                         const char *scheme,
                                                         const struct office_accounts_row *row,
                                                         struct office_accounts_facts *facts);

/* Whether another registration for tax is given, and something depends on the one that there is. */
MUST_CHECK enum store_result store_registration_fixed(struct pg *pg, const struct participant_row *row,
                                                      bool *fixed);

/* The facts that a value of a participant, or of a site, from a date on depends on. */
struct starting_facts {
    bool known;
    bool has_begun; /* or begins within 5 minutes, in a scheme concerned that has entries or closed days */
};
/* One of the codes is NULL. */
MUST_CHECK enum store_result store_starting_facts(struct pg *pg, const char *participant, const char *site,
                                                  struct date effective_date, struct starting_facts *facts);

/* Which codes in the rows of fees are not known: indices into the rows, in memory of the arena. */
struct fee_facts {
    int64_t *unknown_participants, *unknown_cup_types;
    size_t unknown_participant_count, unknown_cup_type_count;
};
MUST_CHECK enum store_result store_fee_facts(struct pg *pg, struct arena *arena,
                                             const struct reference_list *fees, struct fee_facts *facts);

/* Each of these makes or changes one row. It sets `changed` if that made a difference, and never clears it.
 * The caller sees to it that everything exists which the row refers to. */
MUST_CHECK enum store_result store_put_cup_type(struct pg *pg, const struct cup_type_row *row, bool *changed);
MUST_CHECK enum store_result store_put_participant(struct pg *pg, const struct participant_row *row,
                                                   bool *changed);
/* Also gives a new scheme its head row. */
MUST_CHECK enum store_result store_put_scheme(struct pg *pg, const struct scheme_row *row, unsigned decimals,
                                              int64_t version, bool *changed);
MUST_CHECK enum store_result store_put_terms(struct pg *pg, const char *scheme, const struct terms_row *row,
                                             bool *changed);
MUST_CHECK enum store_result store_put_refund_value(struct pg *pg, const char *scheme,
                                                    const struct refund_value_row *row, bool *changed);
/* `numbers` are those of the row's accounts. */
MUST_CHECK enum store_result store_put_office_accounts(struct pg *pg, const char *scheme,
                                                       const struct office_accounts_row *row,
                                                       const int64_t *numbers, bool *changed);
MUST_CHECK enum store_result store_put_site(struct pg *pg, const struct site_row *row, bool *changed);

MUST_CHECK enum store_result store_put_tax_registration(struct pg *pg, const struct tax_registration_row *row,
                                                        bool *changed);
MUST_CHECK enum store_result store_put_site_kind(struct pg *pg, const struct site_kind_row *row,
                                                 bool *changed);

/* Drops the business days of a scheme in which nothing is posted and no day is closing or closed. */
MUST_CHECK enum store_result store_forget_days(struct pg *pg, const char *scheme);

enum reference_kind {
    REFERENCE_CUP_TYPE,
    REFERENCE_PARTICIPANT,
    REFERENCE_SCHEME,
    REFERENCE_TERMS,
    REFERENCE_REFUND_VALUE,
    REFERENCE_SITE,
    REFERENCE_OFFICE_ACCOUNTS,
    REFERENCE_TAX_REGISTRATION,
    REFERENCE_SITE_KIND,
    REFERENCE_AGREEMENT
};

enum { REFERENCE_NAMES_MAX = 3 };

struct reference_query {
    enum reference_kind kind;
    const struct identity *reader;          /* the rows are those that it may see */
    const char *names[REFERENCE_NAMES_MAX]; /* as in the path; NULL: all */
    const char *after;                      /* key of the last row seen; NULL: from the first */
    int limit;                              /* 0: none */
};

/* Appends the rows to `json` as objects with commas between them. */
MUST_CHECK enum store_result store_reference_read(struct pg *pg, const struct reference_query *query,
                                                  struct buffer *json, struct json_slice *slice);

#endif
