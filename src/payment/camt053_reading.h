/* SPDX-License-Identifier: ISC */
/* A camt.053 message while it is read: the reader's position, the data read so far from the elements around
 * it, and the refusals. Private to the reader: camt053.c walks through the document, camt053_texts.c takes
 * its texts, and camt053_elements.c makes statements and lines of its structure. */
#ifndef DEPOSITD_PAYMENT_CAMT053_READING_H
#define DEPOSITD_PAYMENT_CAMT053_READING_H

#include "base/arena.h"
#include "base/buffer.h"
#include "payment/camt053_statement.h"

#include <libxml/xmlreader.h>

enum { CAMT053_DEPTH_MAX = 40, CAMT053_PATH_MAX = 1024 }; /* the schema allows about half of that depth */

/* Paths of elements. */
#define CAMT053_ROOT      "Document/BkToCstmrStmt/"
#define CAMT053_STATEMENT CAMT053_ROOT "Stmt/"
#define CAMT053_ENTRY     CAMT053_STATEMENT "Ntry/"
#define CAMT053_DETAIL    CAMT053_ENTRY "NtryDtls/TxDtls/"

/* An amount with its sign, as far as it has been read. */
struct signed_amount {
    bool has_amount, has_sign;
    bool other_currency;
    bool debit;
    struct money size;
};

struct detail {
    struct signed_amount amount, transaction; /* TxDtls/Amt, or else AmtDtls/TxAmt/Amt */
    struct camt_instructed instructed;
    bool returned, has_instructed;
    const char *end_to_end, *reference, *return_reason;
};

struct entry {
    struct signed_amount amount;
    struct camt_instructed instructed;
    const char *status, *reference, *bank_reference;
    bool reversal, dated, has_instructed;
    struct date booked_on;
    struct detail *details;
    size_t detail_count, detail_capacity;
};

struct reading {
    struct arena *arena;
    const struct currency *currency;
    struct camt_document *document;
    enum camt_result result;
    xmlTextReaderPtr reader;
    int depth;
    size_t ends[CAMT053_DEPTH_MAX]; /* of the path, before each element */
    size_t path_length;
    char path[CAMT053_PATH_MAX];
    struct buffer text;                     /* of the current element, since it or its last child began */
    bool other_currency;                    /* the current amount is in another currency */
    const struct currency *amount_currency; /* its currency; NULL: none that we know */
    struct camt_balance balance;
    struct signed_amount balance_amount;
    bool balance_dated;
    struct entry entry;
    size_t lines;
};

/* The statement, and the transaction of its entry, that the reading is in. */
struct camt_statement *camt053_statement(struct reading *reading);
struct detail *camt053_detail(struct reading *reading);

/* Ends the reading. If there are several faults, the first is reported. */
void camt053_refuse(struct reading *reading, enum camt_result result, const char *format, ...)
    PRINTF_LIKE(3, 4);
/* The name of the current element. */
const char *camt053_element(const struct reading *reading);
/* Refuses the message because of the current element. */
void camt053_refuse_element(struct reading *reading, const char *what);
void camt053_refuse_memory(struct reading *reading);

#endif
