/* SPDX-License-Identifier: ISC */
/* The checks of a new event. */
#ifndef DEPOSITD_APP_POSTING_RECORD_CHECK_H
#define DEPOSITD_APP_POSTING_RECORD_CHECK_H

#include "app/posting/recording.h"

/* Looks up everything that the event names and depends on, and makes all checks but authorisation and
 * duplicate. Faults are in recording->faults; without any, the facts for the domain are complete. */
MUST_CHECK enum store_result record_check(struct recording *recording);

#endif
