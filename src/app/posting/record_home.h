/* SPDX-License-Identifier: ISC */
/* Returned cups that carry the deposit of another scheme, their home, and the amounts agreed for them.
 * Private to the files record*.c. */
#ifndef DEPOSITD_APP_POSTING_RECORD_HOME_H
#define DEPOSITD_APP_POSTING_RECORD_HOME_H

#include "app/posting/recording.h"

/* A line whose home is the scheme itself is the same as a line without. Takes such homes out of the event,
 * and writes its text anew. */
MUST_CHECK enum store_result record_drop_own_home(const struct scheme_ledger *scheme_ledger,
                                                  struct submission *submission);

/* Makes room for the homes of the event's lines, and refuses lines that are the same. False: out of memory.
 */
MUST_CHECK bool record_begin_homes(struct recording *recording);

/* Finds the home of returned line `index`, and adds what is agreed for its cups. False: a fault was added. */
MUST_CHECK bool record_find_home(struct recording *recording, const struct cup_line *cups, size_t index,
                                 int32_t *home);

/* When all lines are known: checks whether each home can follow, and finds the amounts to book here. A
 * reversal takes back the amounts of the entry that it reverses. */
MUST_CHECK enum store_result record_find_agreed(struct recording *recording);

#endif
