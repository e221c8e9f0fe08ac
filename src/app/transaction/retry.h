/* SPDX-License-Identifier: ISC */
/* Decides, for the whole program, which transactions are tried again after they have failed.
 *
 * A transaction is tried again only if nothing of it was committed and another attempt may well go through.
 * Attempts follow each other without a pause: the winner of the race has committed by then, or still holds
 * the row that the next attempt waits for. All attempts together have the time that the connection's deadline
 * leaves (pg_set_deadline). After the last attempt the failure is the caller's result.
 *
 * Changes of reference data, keys, day totals and exceptions are not tried again. Their first statement takes
 * the rows that they race for, so they hardly ever conflict; then the client is answered `overloaded`. */
#ifndef DEPOSITD_APP_TRANSACTION_RETRY_H
#define DEPOSITD_APP_TRANSACTION_RETRY_H

#include "store/pg.h"

enum retrying {
    RETRYING_OFFICE, /* the close and the office: they wait for the head row */
    RETRYING_WRITER, /* the writer of events: it does not wait for a head row that somebody else holds */
    RETRYING_LIMIT
};

/* Whether to try once more, after so many `attempts` of which the last one gave `result`. */
bool retry_is_due(enum retrying who, enum store_result result, int attempts);

#endif
