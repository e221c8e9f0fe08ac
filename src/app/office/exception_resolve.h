/* SPDX-License-Identifier: ISC */
/* Resolving an exception: a person says what was found. The words are said once and stay. Money that was
 * taken out beyond what was free takes two people: the words of the first are a proposal. */
#ifndef DEPOSITD_APP_OFFICE_EXCEPTION_RESOLVE_H
#define DEPOSITD_APP_OFFICE_EXCEPTION_RESOLVE_H

#include "app/network/control.h"
#include "store/exception_store.h"

/* Appends the exception as it now is to control->json, or the proposal if control has `proposed` it or is an
 * approval; sets `resolving->now`. Saying the same again is no fault. STORE_OK with faults: nothing was
 * recorded. Faults: NOT_FOUND, ALREADY_RESOLVED; of an approval also those of control_begin. */
MUST_CHECK enum store_result exception_resolve(struct pg *pg, struct exception_resolving *resolving,
                                               struct control *control, struct faults *faults);

/* Resolves several in one transaction, and appends them, with commas between. Faults point to /ids/0 … :
 * EXCEPTION_UNKNOWN, ALREADY_RESOLVED, SECOND_KEY_NEEDED if it takes two people. */
MUST_CHECK enum store_result exceptions_resolve(struct pg *pg, struct exception_resolving *many, size_t count,
                                                struct control *control, struct faults *faults);

#endif
