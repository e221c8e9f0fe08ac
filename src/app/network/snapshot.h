/* SPDX-License-Identifier: ISC */
/* The reference data in memory: an immutable snapshot of network and keys, which all threads share. When the
 * database's version has moved on, a new snapshot replaces it as a whole. Each holder keeps its snapshot
 * alive. */
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

/* Returns the current snapshot, held until snapshot_release; NULL before the first refresh. Never blocks for
 * long. */
const struct snapshot *snapshot_hold(struct snapshot_cache *cache);
void snapshot_release(const struct snapshot *snapshot);

/* Asks the database for the version and loads a new snapshot if it has changed. Afterwards snapshot_hold
 * returns a snapshot at least as new as the moment of the call. */
MUST_CHECK enum store_result snapshot_refresh(struct snapshot_cache *cache, struct pg *pg);

/* For a transaction that changes the data: loads the snapshot as it will be after the commit. It must then be
 * installed, unless a newer one is there; or dropped, if there was no commit. */
struct held_snapshot;
MUST_CHECK enum store_result snapshot_prepare(struct pg *pg, struct held_snapshot **prepared);
void snapshot_install(struct snapshot_cache *cache, struct held_snapshot *prepared);
void snapshot_drop(struct held_snapshot *prepared);

/* The identity with this secret, or NULL. */
const struct identity *snapshot_identity(const struct snapshot *snapshot, const struct sha256 *secret_hash);
/* The identity of a key by the key's id, unless the key is revoked; or NULL. */
const struct identity *snapshot_key(const struct snapshot *snapshot, int32_t key);

#endif
