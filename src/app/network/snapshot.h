/* SPDX-License-Identifier: ISC */
/* The reference data in memory: an immutable snapshot of network and keys, shared by all threads, replaced as
 * a whole when the database's version has moved on. Whoever holds one keeps it alive. */
#ifndef DEPOSITD_APP_NETWORK_SNAPSHOT_H
#define DEPOSITD_APP_NETWORK_SNAPSHOT_H

#include "depositd/access.h"
#include "store/pg.h"

struct snapshot {
    struct network network;
    struct keyring keys;
};

struct snapshot_cache;

MUST_CHECK struct snapshot_cache *snapshot_cache_new(void);
void snapshot_cache_free(struct snapshot_cache *cache);

/* The current snapshot, held until snapshot_release; NULL before the first refresh. Never blocks for long. */
const struct snapshot *snapshot_hold(struct snapshot_cache *cache);
void snapshot_release(const struct snapshot *snapshot);

/* Asks the database for the version and loads anew if it has changed. Afterwards snapshot_hold gives one at
 * least as new as the moment of the call. */
MUST_CHECK enum store_result snapshot_refresh(struct snapshot_cache *cache, struct pg *pg);

/* The identity whose secret this is, or NULL. */
const struct identity *snapshot_identity(const struct snapshot *snapshot, const struct sha256 *secret_hash);
/* The identity of a key that is not revoked, by its id; or NULL. */
const struct identity *snapshot_key(const struct snapshot *snapshot, int32_t key);

#endif
