/* SPDX-License-Identifier: ISC */
/* The part of a close that brings what is owed for cups to the refund values of the next day. */
#ifndef DEPOSITD_APP_CLOSING_CLOSE_REMEASURE_H
#define DEPOSITD_APP_CLOSING_CLOSE_REMEASURE_H

#include "app/closing/closing.h"

/* Appends the next day's entries for cups whose refund value changes with that day. Reads balances: all
 * entries of the day must be flushed. */
MUST_CHECK enum store_result close_remeasure(struct closing *closing);

#endif
