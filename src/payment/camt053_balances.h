/* SPDX-License-Identifier: ISC */
/* The booked balances of a statement, and the days that it covers. */
#ifndef DEPOSITD_PAYMENT_CAMT053_BALANCES_H
#define DEPOSITD_PAYMENT_CAMT053_BALANCES_H

#include "payment/camt053_statement.h"

/* A balance that the bank may not have stated. */
struct camt_stated {
    bool known;
    struct money amount;
    struct date on;
};

/* The account by the bank's books, before the first line and after the last one. */
struct camt_stated camt053_opening(const struct camt_statement *statement);
struct camt_stated camt053_closing(const struct camt_statement *statement);

/* The sum of its booked lines. False: the sum is out of range. */
MUST_CHECK bool camt053_booked(const struct camt_statement *statement, struct money *sum);

/* The first and the last day that the statement is about. It may name no day at all; then both are
 * `otherwise`. */
void camt053_days(const struct camt_statement *statement, struct date otherwise, struct date *first,
                  struct date *last);

#endif
