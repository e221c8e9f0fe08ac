/* SPDX-License-Identifier: ISC */
/* The event that an event refers to, and the site that a dispatch goes to. Either may be of another scheme.
 * Private to the files record*.c. */
#ifndef DEPOSITD_APP_POSTING_RECORD_REFER_H
#define DEPOSITD_APP_POSTING_RECORD_REFER_H

#include "app/posting/recording.h"

/* Finds the event that this one refers to, with the cups of its dispatch. A dispatch to another scheme is
 * then held, with all others that go there, until the commit; or the event is parked. */
MUST_CHECK enum store_result record_find_referred(struct recording *recording);

/* Somebody else holds what the event depends on. Nothing more may be done with it in this batch. */
bool record_is_parked(const struct recording *recording);

/* Refuses an event that may not refer to what was found. */
void record_check_referred(struct recording *recording);

/* Finds the site that a dispatch goes to, and the home if that is of another scheme. The pair is then held,
 * or the event is parked. Called when the days are known. */
MUST_CHECK enum store_result record_find_destination(struct recording *recording);

/* The cups go from one scheme to another, by this event or by the one that it reverses. */
bool record_is_between(const struct recording *recording);

#endif
