/* SPDX-License-Identifier: ISC */
/* One close under way, and its parts. Private to the files clos*.c. */
#ifndef DEPOSITD_APP_CLOSING_CLOSING_H
#define DEPOSITD_APP_CLOSING_CLOSING_H

#include "app/closing/close.h"
#include "app/posting/ledger.h"

struct closing {
    struct pg *pg;
    struct arena arena;
    const struct close_order *order;
    const struct snapshot *snapshot;
    const struct network *network;
    const struct scheme *scheme;
    const struct terms *terms;
    struct instant now;
    struct calendar calendar;
    const struct business_day *day;
    struct ledger_state state;
    struct ledger ledger;
    struct closing_site *sites;
    size_t site_count;
    struct reversed_row *reversed; /* by site id */
    size_t reversed_count;
    struct closing_participant *participants;
    struct position_row *positions; /* parallel to participants */
    size_t participant_count;
    int32_t *participant_index; /* by participant id: its place in the arrays, or -1 */
    struct payment_row *payments;
    size_t payment_count;
};

/* Fees per site, positions, settle entries and payments: appended to the ledger, and the figures stored. */
MUST_CHECK enum store_result closing_settle(struct closing *closing);

/* The next day's entries for cups whose refund value changes with it. */
MUST_CHECK enum store_result closing_remeasure(struct closing *closing);

/* Seals the day, whose entries have all been appended. */
MUST_CHECK enum store_result closing_seal(struct closing *closing);

/* Derives the legs of what the close posts and appends it, unless there are none. `draft` says day and
 * instant. */
MUST_CHECK enum store_result closing_post(struct closing *closing, struct draft *draft,
                                          const struct posting_facts *facts);

#endif
