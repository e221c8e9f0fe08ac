/* SPDX-License-Identifier: ISC */
/* What the bank says: statements are read, their lines matched with payments, and what is left over is booked
 * into bank_suspense, from where a person resolves it. Blocks; any thread with a connection. */
#ifndef DEPOSITD_APP_OFFICE_BANK_H
#define DEPOSITD_APP_OFFICE_BANK_H

#include "app/network/control.h"
#include "app/network/snapshot.h"
#include "base/buffer.h"
#include "depositd/network.h"

/* Once, before there are threads. */
void bank_init(void);

struct bank_statement_order {
    const struct scheme *scheme;
    int32_t key;
    bool dry_run;
    const char *text; /* camt.053 */
    size_t length;
    struct buffer *json; /* gets what became of the statements and their lines */
};

/* STORE_OK with no faults: the statements are taken, now or before: then the answer is that of the first
 * time. NOT_XML, NOT_CAMT053, TOO_MANY, STATEMENT_INVALID, STATEMENT_CURRENCY, STATEMENT_ACCOUNT,
 * STATEMENT_CONFLICT: nothing is taken. */
MUST_CHECK enum store_result bank_take_statement(struct pg *pg, struct snapshot_cache *snapshots,
                                                 const struct bank_statement_order *order,
                                                 struct faults *faults);

struct bank_line_order {
    int32_t scheme;
    int32_t key;
    bool dry_run;
    int64_t line;
    const char *payment_id;  /* it was this payment, or its return; NULL: … */
    const char *participant; /* … it was of this participant */
    const char *note;
    struct control *control; /* a stranger's line takes two people */
    struct buffer *json;     /* gets the line */
};

/* STORE_OK with no faults: bank_suspense is rid of the line, or control has `proposed` it. NOT_FOUND,
 * LINE_NOT_OPEN, PAYMENT_UNKNOWN, PARTICIPANT_UNKNOWN, and PAYMENT_STATE where the payment can't have made
 * the line. */
MUST_CHECK enum store_result bank_resolve_line(struct pg *pg, struct snapshot_cache *snapshots,
                                               const struct bank_line_order *order, struct faults *faults);

#endif
