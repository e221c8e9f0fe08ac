/* SPDX-License-Identifier: ISC */
/* Payment files: messages that tell the bank to make the approved payments of a closed day. A file is made
 * once and kept; fetching it gives the bytes that were made. Blocks; any thread with a connection. */
#ifndef DEPOSITD_APP_OFFICE_PAYMENT_FILE_H
#define DEPOSITD_APP_OFFICE_PAYMENT_FILE_H

#include "app/network/snapshot.h"
#include "app/transaction/fault.h"
#include "base/buffer.h"
#include "depositd/civil.h"

struct payment_file_order {
    int32_t scheme;
    struct date day;
    bool collections; /* false: payouts */
    int32_t key;
    bool dry_run;
    struct buffer *json;  /* gets the description of the file */
    struct uuid *file_id; /* gets its id */
};

/* STORE_OK with no faults: all approved payments of the day of that type are instructed, and in the file.
 * With a fault nothing is done. NOT_FOUND: the day is not closed. NOTHING_APPROVED. BANK_DETAILS_MISSING and
 * BANK_ACCOUNT_CHANGED: one for each thing that is wrong. */
MUST_CHECK enum store_result payment_file_make(struct pg *pg, struct snapshot_cache *snapshots,
                                               const struct payment_file_order *order, struct faults *faults);

#endif
