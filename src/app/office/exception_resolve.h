/* SPDX-License-Identifier: ISC */
/* Resolving an exception: a person says what was found. The words are said once and stay. */
#ifndef DEPOSITD_APP_OFFICE_EXCEPTION_RESOLVE_H
#define DEPOSITD_APP_OFFICE_EXCEPTION_RESOLVE_H

#include "app/transaction/fault.h"
#include "store/exception_store.h"

/* Appends the exception as it now is to `json`, and sets `resolving->now`. Saying the same again is no fault.
 * STORE_OK with faults: nothing was recorded. Faults: NOT_FOUND, ALREADY_RESOLVED. */
MUST_CHECK enum store_result exception_resolve(struct pg *pg, struct exception_resolving *resolving,
                                               bool dry_run, struct buffer *json, struct faults *faults);

#endif
