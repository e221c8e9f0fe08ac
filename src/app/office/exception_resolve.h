/* SPDX-License-Identifier: ISC */
/* A person looks at an exception and says what was found: once, and for good. */
#ifndef DEPOSITD_APP_OFFICE_EXCEPTION_RESOLVE_H
#define DEPOSITD_APP_OFFICE_EXCEPTION_RESOLVE_H

#include "app/transaction/fault.h"
#include "store/exception_store.h"

/* Appends the exception as it now is to `json`. To say the same again is no fault. STORE_OK with faults:
 * nothing was recorded. NOT_FOUND or ALREADY_RESOLVED is among them. `resolving->now` is set. */
MUST_CHECK enum store_result exception_resolve(struct pg *pg, struct exception_resolving *resolving,
                                               bool dry_run, struct buffer *json, struct faults *faults);

#endif
