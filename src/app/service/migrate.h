/* SPDX-License-Identifier: ISC */
/* Bringing the database's schema up to this binary's version. Run by the owner; forward only. */
#ifndef DEPOSITD_APP_SERVICE_MIGRATE_H
#define DEPOSITD_APP_SERVICE_MIGRATE_H

#include "store/pg.h"

#include <stdbool.h>
#include <stdio.h>

/* Applies what is missing, in one transaction, and says so on `stream`. Several at once: one does it. */
MUST_CHECK enum store_result migrate(struct pg *pg, FILE *stream);

/* Whether the database is there, but not at this binary's version; `why` then says what to do about it. */
MUST_CHECK bool migrate_version_differs(struct pg *pg, char *why, size_t size);

#endif
