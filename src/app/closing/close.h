/* SPDX-License-Identifier: ISC */
/* The close of a business day: cut, fees, positions, payments, the next day's remeasurement, the seal.
 *
 * The cut is a short transaction; everything else is one more, all or nothing. Killed at any point, the close
 * is taken up again by whoever asks next; of several that ask at once, one closes and the others find it
 * done. */
#ifndef DEPOSITD_APP_CLOSING_CLOSE_H
#define DEPOSITD_APP_CLOSING_CLOSE_H

#include "app/network/snapshot.h"
#include "app/transaction/fault.h"
#include "base/buffer.h"
#include "store/close_store.h"

struct close_order {
    int32_t scheme;
    struct date date;
    int32_t key; /* who closes; 0: the service, by the clock */
    bool dry_run;
    /* Called within the last transaction, when the day is closed in its view: where a settlement is read. May
     * be NULL. */
    enum store_result (*view)(void *context, struct pg *pg);
    void *context;
};

/* STORE_OK with no faults: the day is closed, now or before. Faults: NOT_FOUND, DAY_NOT_ENDED,
 * EARLIER_DAY_OPEN. */
MUST_CHECK enum store_result close_day(struct pg *pg, struct snapshot_cache *snapshots,
                                       const struct close_order *order, struct faults *faults);

/* Makes the scheme's calendar reach a little beyond now. */
MUST_CHECK enum store_result close_extend_calendar(struct pg *pg, int32_t scheme);

/* What the seal is over, besides the day's tree: canonical {date, entries, payments, positions, scheme}. */
struct close_document {
    const struct network *network;
    const struct scheme *scheme;
    struct date date;
    uint64_t entries;
    const struct position_row *positions; /* by participant code */
    size_t position_count;
    const struct payment_row *payments; /* by payment id */
    size_t payment_count;
};
/* "pool" for 0, else the participant's code; "?" for one that there is not, which only a tampered row names.
 */
const char *close_party(const struct network *network, int32_t participant);
void close_document(const struct close_document *document, struct buffer *text);

#endif
