/* SPDX-License-Identifier: ISC */
/* The contents of a camt.053 message. */
#ifndef DEPOSITD_PAYMENT_CAMT053_STATEMENT_H
#define DEPOSITD_PAYMENT_CAMT053_STATEMENT_H

#include "depositd/civil.h"
#include "depositd/money.h"

enum { CAMT_STATEMENTS_MAX = 100, CAMT_LINES_MAX = 100000, CAMT_DETAIL_SIZE = 160 };

enum camt_result {
    CAMT_OK,
    CAMT_NO_MEMORY,
    CAMT_NOT_XML,   /* not well-formed, not UTF-8, or it has a document type */
    CAMT_OTHER,     /* XML, but not this message */
    CAMT_INVALID,   /* this message, but a part of it is missing, malformed, or appears twice */
    CAMT_TOO_LARGE, /* deeper or longer than the bounds */
    CAMT_CURRENCY   /* an entry or a balance of another currency */
};

/* The amount that was instructed, which the bank exchanges if it is in another currency than the account's.
 */
struct camt_instructed {
    const struct currency *currency; /* NULL: not said, or no amount of a currency that we know */
    struct money amount;
};

/* A line that can be matched: an entry, or a transaction of an entry that books several together. */
struct camt_line {
    struct money amount; /* credits positive, as the account's owner sees it */
    bool booked;         /* otherwise pending, or for information */
    bool returned;       /* a payment that came back, or the reversal of a booking */
    bool unsplit; /* the amounts of its transactions do not add up to it, so it stands for all of them */
    bool dated;   /* whether it has … */
    struct date booked_on;       /* … a booking date */
    const char *end_to_end;      /* NULL: none, or NOTPROVIDED */
    const char *reference;       /* the bank's, unique for ever; NULL: none */
    const char *entry_reference; /* within the statement; NULL: none */
    const char *return_reason;   /* NULL: none */
    int32_t part;                /* 0, 1 … within the entry */
    struct camt_instructed instructed;
};

struct camt_balance {
    const char *code; /* OPBD, CLBD …, or a proprietary one */
    bool proprietary; /* the code is the bank's own, whatever it looks like */
    struct money amount;
    struct date on;
};

struct camt_statement {
    const char *id;
    const char *iban, *account; /* either an IBAN or an account number */
    const char *currency;       /* of the account; NULL: not given */
    int64_t sequence;           /* the bank's count of its statements; 0: none */
    bool has_from, has_to;      /* whether it says the period that it covers: … */
    struct date from, to;       /* … its first and its last day */
    struct camt_balance *balances;
    size_t balance_count, balance_capacity;
    struct camt_line *lines;
    size_t line_count, line_capacity;
};

struct camt_document {
    const char *message_id;
    struct camt_statement *statements; /* at least one */
    size_t count, capacity;
    /* The reason why the message could not be read. */
    int error_line; /* of the text; 0: no line */
    char detail[CAMT_DETAIL_SIZE];
};

#endif
