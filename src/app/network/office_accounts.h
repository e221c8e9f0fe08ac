/* SPDX-License-Identifier: ISC */
/* The rules for the list of codes that the office's own ledger has for a scheme's accounts. The list gives
 * accounts other names, and no figure depends on it. Pure; any thread. */
#ifndef DEPOSITD_APP_NETWORK_OFFICE_ACCOUNTS_H
#define DEPOSITD_APP_NETWORK_OFFICE_ACCOUNTS_H

#include "app/transaction/fault.h"
#include "store/reference_store.h"

/* `numbers`: those of the row's accounts, 0 where there is none. Adds a fault for each rule that is broken;
 * `place` is the pointer of the row in the body; `scratch` gives memory. False: out of memory. */
MUST_CHECK bool office_accounts_check(const struct office_accounts_row *row, const int64_t *numbers,
                                      const char *place, struct arena *scratch, struct faults *faults);

#endif
