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

/* Each row begins with the codes and dates that name it, in the order of the path. A row `is_faulty` if
 * members are lacking that the shape of a body requires, or could not be read. */
struct cup_type_row {
    char cup_type[CODE_SIZE];
    const char *name;
    int64_t volume_ml, mass_g;
    const char *grai;
    bool is_faulty;
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
    bool is_faulty;
};

/* A dated value of a participant, and one of a site. */
struct tax_registration_row {
    char participant[CODE_SIZE];
    struct date effective_date;
    bool tax_registered;
    bool is_faulty;
};

struct site_kind_row {
    char site[CODE_SIZE];
    struct date effective_date;
    int kind;
    bool is_faulty;
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
    bool is_faulty;
};

struct refund_value_row {
    char cup_type[CODE_SIZE];
    struct date effective_date;
    struct decimal amount;
    bool is_faulty;
};

/* The code and name that the office's own ledger has for an account. */
struct office_account_row {
    const char *account; /* its name, or that of a kind, for all accounts of the kind without their own */
    const char *code, *name;
};

struct office_accounts_row {
    struct date effective_date;
    struct reference_list accounts; /* of struct office_account_row */
    bool is_faulty;
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
    bool is_faulty;
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
    bool is_faulty;
};

/* The author of a change of reference data or keys, and the reason. Each change records both. */
struct change_author {
    int32_t key;      /* 0: the command line */
    const char *why;  /* NULL: not said */
    int64_t proposal; /* the proposal that this approves; 0: none */
};

/* Begins a change within the current transaction, which is the only one of reference data then. Raises the
 * version of the data, and locks the heads of the schemes that have no entry. Other schemes post meanwhile:
 * they see nothing of the change before the commit. */
MUST_CHECK enum store_result store_reference_begin(struct pg *pg, const struct change_author *author,
                                                   struct instant now, int64_t *version);
/* Locks the head row of every scheme, and tells their next writers of the version. So no event is posted from
 * here to the commit. */
MUST_CHECK enum store_result store_reference_hold(struct pg *pg, int64_t version);
/* Lets the database check now what is dated. Otherwise it does so at the commit. */
MUST_CHECK enum store_result store_reference_check_dates(struct pg *pg);
/* Begins and holds: no event is posted between the reads of the change and its commit. */
MUST_CHECK enum store_result store_reference_lock(struct pg *pg, const struct change_author *author,
                                                  struct instant now, int64_t *version);
/* The schemes without entries, whose heads the change holds. */
MUST_CHECK enum store_result store_reference_unused(struct pg *pg, struct arena *arena, int32_t **schemes,
                                                    size_t *count);

/* Rows of one kind, on which one statement works. Memory that a function needs for them comes from its
 * arena. */
struct reference_item {
    const void *row;        /* struct KIND_row */
    const char *scheme;     /* whose dated value it is; NULL: the kind is no scheme's */
    const int64_t *numbers; /* of the accounts of an office_accounts_row that is put */
};
struct reference_items {
    const struct reference_item *items;
    size_t count; /* not 0 */
};

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
    REFERENCE_AGREEMENT,
    REFERENCE_KINDS
};

enum { REFERENCE_NAMES_MAX = 3 };

struct reference_query {
    enum reference_kind kind;
    const struct identity *reader;          /* the rows are those that it may see */
    const char *names[REFERENCE_NAMES_MAX]; /* as in the path; NULL: all */
    const char *after;                      /* key of the last row seen; NULL: from the first */
    int limit;                              /* 0: none */
    int32_t scheme;      /* of sites; of participants: with sites in it; 0: any, as for other kinds */
    int32_t participant; /* of sites; 0: any */
    const struct row_dress *dress; /* NULL: commas between the rows */
};

/* Appends the rows to `json` as objects. */
MUST_CHECK enum store_result store_reference_read(struct pg *pg, const struct reference_query *query,
                                                  struct buffer *json, struct json_slice *slice);

#endif
