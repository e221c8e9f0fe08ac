/* SPDX-License-Identifier: ISC */
/* The checks and the facts of an opening. */
#ifndef DEPOSITD_APP_POSTING_RECORD_OPENING_H
#define DEPOSITD_APP_POSTING_RECORD_OPENING_H

#include "app/posting/recording.h"

/* Checks that the scheme may be opened as stated: before any other entry, as of its first business day, which
 * is open. Fills the lines, the amounts due and the balance at the bank. The days have been found, or have
 * their faults. */
MUST_CHECK enum store_result record_opening(struct recording *recording);

/* Why a scheme may not be opened by an event of this day; REASON_NONE: it may. `last` is the scheme's last
 * entry. */
enum reason record_opening_refusal(const struct calendar *calendar, const struct business_day *occurrence,
                                   enum last_entry last);

#endif
