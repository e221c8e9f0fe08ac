/* SPDX-License-Identifier: ISC */
/* Statements of the bank: their lines are matched with payments, and all other lines are booked against
 * bank_suspense, where they wait until a person resolves them. Blocks; any thread with a connection. */
#ifndef DEPOSITD_APP_OFFICE_BANK_H
#define DEPOSITD_APP_OFFICE_BANK_H

#include "app/network/control.h"
#include "app/network/snapshot.h"
#include "base/buffer.h"
#include "depositd/network.h"
#include "depositd/posting.h"

/* Once, before there are threads. */
void bank_init(void);

struct bank_statement_order {
    const struct scheme *scheme;
    int32_t key;
    bool dry_run;
    const char *text; /* camt.053 */
    size_t length;
    struct buffer *json; /* gets the statements and lines, with the decision on each */
};

/* STORE_OK with no faults: the statements are taken, now or before. A statement that was taken before gets
 * the answer of that time. Faults: NOT_XML, NOT_CAMT053, TOO_MANY, STATEMENT_INVALID, STATEMENT_CURRENCY,
 * STATEMENT_ACCOUNT, STATEMENT_CONFLICT; then nothing is taken. */
MUST_CHECK enum store_result bank_take_statement(struct pg *pg, struct snapshot_cache *snapshots,
                                                 const struct bank_statement_order *order,
                                                 struct faults *faults);

struct bank_line_order {
    int32_t scheme;
    int32_t key;
    bool dry_run;
    int64_t line;
    const char *payment_id; /* the line was this payment, or its return; NULL: …; with LINE_FOR_BETWEEN, the
                               other scheme's payment, if the line does not name it */
    enum line_target target; /* … it was for this: any of the scheme's accounts, or … */
    const char *participant; /* … LINE_FOR_ARREARS: money of this participant */
    const char *other;       /* … LINE_FOR_BETWEEN: a debt of this scheme */
    const char *note;
    struct control *control; /* a participant's line that names no payment takes two people, and so does each
                                of the operator's own */
    struct buffer *json;     /* gets the line */
};

/* STORE_OK with no faults: the line has left bank_suspense, or control has `proposed` that. Faults:
 * NOT_FOUND, LINE_NOT_OPEN, PAYMENT_UNKNOWN, PARTICIPANT_UNKNOWN; PAYMENT_STATE if the payment cannot have
 * made the line. */
MUST_CHECK enum store_result bank_resolve_line(struct pg *pg, struct snapshot_cache *snapshots,
                                               const struct bank_line_order *order, struct faults *faults);

#endif
