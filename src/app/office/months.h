/* SPDX-License-Identifier: ISC */
/* Closing a month for journals, and reopening it. One person proposes it, and it is done when another
 * approves. A month may be closed after its last day; the months before it close with it, and those after it
 * reopen with it. */
#ifndef DEPOSITD_APP_OFFICE_MONTHS_H
#define DEPOSITD_APP_OFFICE_MONTHS_H

#include "app/network/control.h"
#include "store/month_store.h"

/* Proposes the change or, if control is an approval, does it. Appends the proposal to control->json. Faults:
 * NOT_FOUND, MONTH_NOT_ENDED, MONTH_CLOSED, MONTH_OPEN; of an approval also those of control_begin. */
MUST_CHECK enum store_result month_change(struct pg *pg, struct month_change *change, struct control *control,
                                          struct faults *faults);

#endif
