/* SPDX-License-Identifier: ISC */
/* Whether the database takes a commit now. */
#ifndef DEPOSITD_STORE_READY_STORE_H
#define DEPOSITD_STORE_READY_STORE_H

#include "store/pg.h"

struct readiness {
    bool writable;   /* neither read-only nor a standby */
    int64_t version; /* the schema's version */
};

/* Commits a record that nobody reads, if the database is writable. The record goes to disk, so that a full
 * disk makes this fail as it would make posting fail. */
MUST_CHECK enum store_result store_try_commit(struct pg *pg, struct readiness *readiness);

#endif
