/* SPDX-License-Identifier: ISC */
/* Payment files, and the bank's statements and lines. All functions but the lists run within a transaction
 * that holds the scheme's head row. Results are put into the given arena. */
#ifndef DEPOSITD_STORE_BANK_STORE_H
#define DEPOSITD_STORE_BANK_STORE_H

#include "depositd/payment.h"
#include "store/read_store.h"

/* A party as the bank knows it. Without an account, both iban and account are NULL. */
struct bank_party {
    const char *name;
    const char *iban, *account, *bank_code, *bic; /* NULL: none */
};

struct bank_operator {
    struct bank_party party; /* its name NULL: the scheme names no operator */
    const char *creditor_id; /* NULL: none */
    struct uuid new_id;      /* for the file that is about to be made */
};
MUST_CHECK enum store_result store_bank_operator(struct pg *pg, struct arena *arena, int32_t scheme,
                                                 struct bank_operator *bank_operator);

/* ---- files ---- */

/* An approved payment, and its party other than the pool. */
struct bank_order {
    const char *payment_id;
    struct money amount;             /* in the books */
    struct money instructed;         /* the same, or what was agreed with another pool … */
    const struct currency *currency; /* … in this currency */
    struct date due_on;
    const char *participant; /* its code */
    struct bank_party party;
    const char *mandate_id; /* NULL: none */
    struct date mandate_signed_on;
    bool account_changed; /* since the close */
    bool first;           /* under its mandate */
};
struct bank_orders {
    bool closed; /* whether the day is closed */
    struct bank_order *items;
    size_t count;
};
MUST_CHECK enum store_result store_bank_orders(struct pg *pg, struct arena *arena, int32_t scheme,
                                               struct date day, bool collections, struct bank_orders *orders);

struct payment_file_row {
    int32_t scheme;
    struct uuid file_id;
    struct date day;
    bool collections;
    const char *message_id;
    struct instant created_at;
    int32_t key;
    struct money total;
    const char *content;
    size_t length;
    struct sha256 hash;
    const char **payment_ids;
    const char **mandates; /* NULL elements: none */
    size_t count;
};
MUST_CHECK enum store_result store_add_file(struct pg *pg, const struct payment_file_row *row);

/* Gives the description of a file as JSON, its content, or both: whichever buffer is not NULL. *found false:
 * there is no such file. */
MUST_CHECK enum store_result read_file(struct pg *pg, const struct uuid *id, struct buffer *json,
                                       struct buffer *content, char hash[static SHA256_HEX_MAX], bool *found);
MUST_CHECK enum store_result read_files(struct pg *pg, int32_t scheme, struct date day,
                                        struct list_slice *slice);

/* ---- statements ---- */

/* *statement 0: the account has no statement with this id. */
MUST_CHECK enum store_result store_find_statement(struct pg *pg, int32_t scheme, const char *account,
                                                  const char *statement_id, int64_t *statement,
                                                  struct sha256 *digest);

struct bank_document_row {
    int32_t scheme;
    struct instant received_at;
    int32_t key;
    const char *message_id; /* NULL: none */
    const char *content;
    size_t length;
    struct sha256 hash;
};
MUST_CHECK enum store_result store_add_document(struct pg *pg, const struct bank_document_row *row,
                                                int64_t *document);

struct bank_statement_row {
    int32_t scheme;
    int64_t document;
    const char *account, *statement_id;
    struct sha256 digest;
    const char **balance_codes;
    const int64_t *balance_amounts;
    const struct date *balance_days;
    size_t balance_count;
    struct date first_day, last_day;
    int64_t sequence;                      /* the bank's count of its statements; 0: none */
    const struct money *opening, *closing; /* NULL: not stated */
    struct money booked, repeated;         /* sums of the booked lines, and of those that are known already */
};
struct statement_numbers {
    int64_t statement; /* its own */
    int64_t last_line; /* of the scheme, before its lines */
};
MUST_CHECK enum store_result store_add_statement(struct pg *pg, const struct bank_statement_row *row,
                                                 struct statement_numbers *numbers);

/* A payment that a line of the bank may belong to. */
struct bank_payment {
    const char *payment_id;
    enum payment_status status;
    int32_t payer, payee; /* 0: the pool */
    struct money amount;
    int32_t host;         /* another scheme, whose pool is paid; 0: none */
    bool in_own_currency; /* else `amount` is as the bank booked it, and 0 until it is confirmed */
    struct money agreed;  /* as it is instructed, … */
    const struct currency *agreed_currency; /* … in this currency */
    bool confirmed;                         /* was confirmed, even if it has failed since */
    bool taken, came_back;                  /* some line paid it; some line returned it */
};
struct payment_ids {
    const char *const *items;
    size_t count;
};
/* The payments of the scheme that have these ids, ordered by id (strcmp). */
MUST_CHECK enum store_result store_bank_payments(struct pg *pg, struct arena *arena, int32_t scheme,
                                                 const struct payment_ids *ids,
                                                 struct bank_payment **payments, size_t *found);

/* A payment of another scheme's pool, the home's, to this one's. */
struct bank_pool_payment {
    const char *payment_id;
    int32_t home;
    enum payment_status status;
    struct money agreed;             /* as it is instructed, … */
    const struct currency *currency; /* … in this currency, … */
    bool in_own_currency;            /* … which is this scheme's, or else the home's */
    struct money host_booked;        /* for the same returns in this scheme's books */
    struct money paid, paid_booked;  /* by lines before: of the agreed amount, and of host_booked */
};
/* The payments that have these ids, ordered by id (strcmp). */
MUST_CHECK enum store_result store_bank_pool_payments(struct pg *pg, struct arena *arena, int32_t host,
                                                      const struct payment_ids *ids,
                                                      struct bank_pool_payment **payments, size_t *found);
/* The payment of the home that a line of the host's bank was, as far as can be told: the line names it, or it
 * is the oldest that lacks exactly the line's amount, or the only one that is not paid. NULL: none. */
MUST_CHECK enum store_result store_between_line_payment(struct pg *pg, struct arena *arena, int32_t host,
                                                        int32_t home, int64_t line, const char **payment_id);

/* The part of such a payment that a line of the bank has paid. */
struct between_booked_row {
    int32_t home; /* 0: it was none */
    const char *payment_id;
    struct money agreed,
        booked; /* of the agreed amount, and in the host's books; of money that went back below zero */
};

/* The indices of those identities with which a line is kept already. */
struct lines_seen {
    int64_t *indices;
    size_t count;
};
MUST_CHECK enum store_result store_lines_seen(struct pg *pg, struct arena *arena, int32_t scheme,
                                              const struct sha256 *identities, size_t count,
                                              struct lines_seen *seen);

struct bank_line_row {
    const char *booked_on; /* as text; NULL: not said */
    struct money amount;
    const char *end_to_end, *reference, *return_reason; /* NULL: none */
    bool returned;
    const char *identity; /* hexadecimal; NULL: none */
    const char *disposition;
    const char *payment_id; /* NULL: none */
    int64_t entry;          /* 0: none */
    struct between_booked_row between;
};
/* `day`: of their entries. */
MUST_CHECK enum store_result store_add_lines(struct pg *pg, int32_t scheme,
                                             const struct statement_numbers *numbers, struct date day,
                                             const struct bank_line_row *rows, size_t count);

/* A line that is kept. */
struct bank_line {
    struct money amount;
    bool open, is_stranger;
};
/* *found false: there is no line with this number. */
MUST_CHECK enum store_result store_find_line(struct pg *pg, int32_t scheme, int64_t number,
                                             struct bank_line *line, bool *found);

/* Keeps that a line which two people have resolved paid what another scheme owed; its entry posted to `day`.
 */
MUST_CHECK enum store_result store_add_between_booked(struct pg *pg, int32_t host, int64_t line,
                                                      struct date day, const struct between_booked_row *row);

/* Whether the scheme has ever read a statement of the bank. */
MUST_CHECK enum store_result store_reads_statements(struct pg *pg, int32_t scheme, bool *reads);

/* The amount that the operator could take out of the pool without touching money of others. Below zero, that
 * much is missing. */
MUST_CHECK enum store_result store_withdrawable(struct pg *pg, int32_t scheme, struct date today,
                                                struct money *amount);

struct bank_resolution_row {
    int32_t scheme;
    int64_t line;
    struct instant resolved_at;
    int32_t key;
    const char *note;
    const char *payment_id; /* NULL: account says it, and participant if it is arrears */
    bool came_back;
    int32_t participant; /* 0: none */
    const char *account;
    const int64_t *entries;
    size_t entry_count;
    int64_t proposal; /* the proposal that approved it; 0: it needed none */
};
MUST_CHECK enum store_result store_add_resolution(struct pg *pg, const struct bank_resolution_row *row);

/* {"statements":[…],"confirmed":…}: the statements of these numbers, with their lines. */
MUST_CHECK enum store_result read_statements_taken(struct pg *pg, int32_t scheme, const int64_t *statements,
                                                   size_t count, struct buffer *json);
/* Statements that end on days of this period, by day and number. */
struct statements_filter {
    int32_t scheme;
    const struct date *from, *to; /* NULL: any */
};
MUST_CHECK enum store_result read_bank_statements(struct pg *pg, const struct statements_filter *filter,
                                                  const struct key_slice *wanted, struct buffer *json,
                                                  struct json_slice *slice);
/* A statement with at most so many of its lines. *found false: there is none with this number. */
MUST_CHECK enum store_result read_bank_statement(struct pg *pg, int32_t scheme, int64_t statement, int lines,
                                                 struct buffer *json, bool *found);
/* The message in which a statement came, as it is, and its hash. */
MUST_CHECK enum store_result read_bank_message(struct pg *pg, int32_t scheme, int64_t statement,
                                               struct buffer *content, char hash[static SHA256_HEX_MAX],
                                               bool *found);

struct bank_lines_filter {
    int32_t scheme;
    const bool *open;  /* NULL: open lines and resolved ones */
    int64_t statement; /* 0: of all */
};
MUST_CHECK enum store_result read_bank_lines(struct pg *pg, const struct bank_lines_filter *filter,
                                             struct list_slice *slice);
MUST_CHECK enum store_result read_bank_line(struct pg *pg, int32_t scheme, int64_t line, struct buffer *json,
                                            bool *found);
/* Payments and participants that the line may be for, as a JSON array. *found false: there is no such line,
 * or it is not open. */
MUST_CHECK enum store_result read_bank_line_candidates(struct pg *pg, int32_t scheme, int64_t line,
                                                       struct buffer *json, bool *found);

#endif
