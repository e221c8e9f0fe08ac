/* SPDX-License-Identifier: ISC */
/* Brings the database's schema up to this binary's version. The owner runs it; forward only. */
#ifndef DEPOSITD_APP_SERVICE_MIGRATE_H
#define DEPOSITD_APP_SERVICE_MIGRATE_H

#include "store/pg.h"

#include <stdbool.h>
#include <stdio.h>

/* Applies the missing migrations in one transaction, and reports them on `stream`. If several run at once,
 * only one of them does the work. */
MUST_CHECK enum store_result migrate(struct pg *pg, FILE *stream);

/* Whether the database is reachable but has another version than this binary; `why` then says what to do
 * about it. */
MUST_CHECK bool migrate_version_differs(struct pg *pg, char *why, size_t size);

#endif
