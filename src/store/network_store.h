/* SPDX-License-Identifier: ISC */
/* Loading the reference data that posting and authorisation need. */
#ifndef DEPOSITD_STORE_NETWORK_STORE_H
#define DEPOSITD_STORE_NETWORK_STORE_H

#include "depositd/access.h"
#include "store/pg.h"

MUST_CHECK enum store_result store_network_version(struct pg *pg, int64_t *version);

/* Fills network and keys, in memory of the arena. To be called within pg_begin_read, so that all of it is of
 * one moment. */
MUST_CHECK enum store_result store_network_load(struct pg *pg, struct arena *arena, struct network *network,
                                                struct keyring *keys);

#endif
