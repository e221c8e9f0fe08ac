/* SPDX-License-Identifier: ISC */
/* Whether the database takes a commit just now. */
#ifndef DEPOSITD_STORE_READY_STORE_H
#define DEPOSITD_STORE_READY_STORE_H

#include "store/pg.h"

/* Commits something that is on disk then and that nobody will ever see: a standby, a database set to read
 * only and a full disk all fail here, as events would. */
MUST_CHECK enum store_result store_try_commit(struct pg *pg);

#endif
