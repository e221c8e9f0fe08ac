/* SPDX-License-Identifier: ISC */
/* Whether the database takes a commit just now. */
#ifndef DEPOSITD_STORE_READY_STORE_H
#define DEPOSITD_STORE_READY_STORE_H

#include "store/pg.h"

struct readiness {
    bool writable;   /* neither read-only nor a standby */
    int64_t version; /* of the schema */
};

/* Commits a record that nobody will ever see, if the database is writable: it is on disk then, so that a full
 * disk fails here as events would. */
MUST_CHECK enum store_result store_try_commit(struct pg *pg, struct readiness *readiness);

#endif
