/* SPDX-License-Identifier: ISC */
/* The close of a business day: cut, fees, positions, payments, the seal, the next day's remeasurement.
 *
 * The cut is a short transaction. A second one does everything else, all or nothing. A close may be killed at
 * any point: the next caller takes it up again. Of several callers at once, one closes the day, and the
 * others find it closed. */
#ifndef DEPOSITD_APP_CLOSING_CLOSE_H
#define DEPOSITD_APP_CLOSING_CLOSE_H

#include "app/network/snapshot.h"
#include "app/transaction/fault.h"
#include "depositd/civil.h"

struct close_order {
    int32_t scheme;
    struct date date;
    int32_t key; /* the key that closes; 0: the service, by the clock */
    bool dry_run;
    bool leaves_others; /* if another caller closes a day of the scheme: STORE_LOCKED at once, no waiting */
    /* Reads the settlement in the last transaction, which sees the day as closed. May be NULL. */
    enum store_result (*view)(void *context, struct pg *pg);
    void *context;
};

/* STORE_OK with no faults: the day is closed, now or before. Faults: NOT_FOUND, DAY_NOT_ENDED,
 * EARLIER_DAY_OPEN. */
MUST_CHECK enum store_result close_day(struct pg *pg, struct snapshot_cache *snapshots,
                                       const struct close_order *order, struct faults *faults);

/* Makes the scheme's calendar reach a little beyond now. */
MUST_CHECK enum store_result close_extend_calendar(struct pg *pg, struct snapshot_cache *snapshots,
                                                   int32_t scheme);

#endif
