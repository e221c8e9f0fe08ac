/* SPDX-License-Identifier: ISC */
/* One close under way. Its parts (close_settle, close_seal, close_remeasure) read and fill this. Private to
 * this folder. */
#ifndef DEPOSITD_APP_CLOSING_CLOSING_H
#define DEPOSITD_APP_CLOSING_CLOSING_H

#include "app/posting/head_work.h"
#include "store/close_store.h"

struct closing {
    struct head_work *work;         /* the transaction that does all of the close but the cut */
    const struct business_day *day; /* the day to close, in the work's calendar */
    const struct terms *terms;      /* of that day */
    struct closing_site *sites;
    size_t site_count;
    struct counted_row *counted; /* by site id */
    size_t counted_count;
    struct fee_line *fee_lines; /* of all sites */
    size_t fee_line_count;
    struct closing_participant *participants;
    struct position_row *positions; /* parallel to participants */
    size_t participant_count;
    int32_t *participant_index; /* by participant id: its place in the arrays, or -1 */
    struct payment_row *payments;
    size_t payment_count;
    size_t netted_count; /* those among participants and the pool, which come first until all are sorted */
    struct payment_row *pool_payments; /* to other schemes; among `payments` as well in the end */
    size_t pool_payment_count;
};

/* The last instant of the day. Entries of the close are said to have occurred then. */
struct instant closing_instant(const struct closing *closing);

/* Derives the legs of an entry of the close, and appends it unless there are none. `draft` says day and
 * instant. */
MUST_CHECK enum store_result closing_post(struct closing *closing, struct draft *draft,
                                          const struct posting_facts *facts);

#endif
