/* SPDX-License-Identifier: ISC */
/* The cache holds a reference to the current snapshot, and each holder has another. Releasing the last
 * reference frees the snapshot. */
#include "app/network/snapshot.h"

#include "store/network_store.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

/* The public part comes first, so a pointer to it also points to the whole. */
struct held_snapshot {
    struct snapshot snapshot;
    struct arena arena;
    atomic_int holders;
};

struct snapshot_cache {
    pthread_mutex_t lock;
    struct held_snapshot *current;
};

struct snapshot_cache *snapshot_cache_new(void)
{
    struct snapshot_cache *cache = calloc(1, sizeof *cache);
    if (cache != NULL)
        pthread_mutex_init(&cache->lock, NULL);
    return cache;
}

void snapshot_cache_free(struct snapshot_cache *cache)
{
    if (cache == NULL)
        return;
    if (cache->current != NULL)
        snapshot_release(&cache->current->snapshot);
    pthread_mutex_destroy(&cache->lock);
    free(cache);
}

const struct snapshot *snapshot_hold(struct snapshot_cache *cache)
{
    pthread_mutex_lock(&cache->lock);
    struct held_snapshot *current = cache->current;
    if (current != NULL)
        atomic_fetch_add(&current->holders, 1);
    pthread_mutex_unlock(&cache->lock);
    return current != NULL ? &current->snapshot : NULL;
}

void snapshot_release(const struct snapshot *snapshot)
{
    if (snapshot == NULL)
        return;
    struct held_snapshot *held = (struct held_snapshot *)(uintptr_t)snapshot;
    if (atomic_fetch_sub(&held->holders, 1) > 1)
        return;
    arena_dispose(&held->arena);
    free(held);
}

enum store_result snapshot_prepare(struct pg *pg, struct held_snapshot **prepared)
{
    struct held_snapshot *held = calloc(1, sizeof *held);
    if (held == NULL)
        return STORE_FAILED;
    arena_init(&held->arena, 0);
    atomic_init(&held->holders, 1);
    enum store_result result =
        store_network_load(pg, &held->arena, &held->snapshot.network, &held->snapshot.keys);
    if (result == STORE_OK)
        *prepared = held;
    else
        snapshot_drop(held);
    return result;
}

void snapshot_drop(struct held_snapshot *prepared)
{
    snapshot_release(&prepared->snapshot);
}

static enum store_result load(struct pg *pg, struct held_snapshot **loaded)
{
    enum store_result result = pg_begin_read(pg);
    *loaded = NULL;
    if (result == STORE_OK)
        result = snapshot_prepare(pg, loaded);
    if (result == STORE_OK)
        result = pg_commit(pg);
    if (result == STORE_OK)
        return STORE_OK;
    pg_rollback(pg);
    if (*loaded != NULL)
        snapshot_drop(*loaded);
    return result;
}

void snapshot_install(struct snapshot_cache *cache, struct held_snapshot *loaded)
{
    pthread_mutex_lock(&cache->lock);
    struct held_snapshot *old = cache->current;
    if (old == NULL || old->snapshot.network.version < loaded->snapshot.network.version)
        cache->current = loaded;
    else
        old = loaded;
    pthread_mutex_unlock(&cache->lock);
    if (old != NULL)
        snapshot_release(&old->snapshot);
}

static enum store_result read_version(struct pg *pg, int64_t *version)
{
    enum store_result result = pg_ready(pg);
    return result == STORE_OK ? store_network_version(pg, version) : result;
}

enum store_result snapshot_refresh(struct snapshot_cache *cache, struct pg *pg)
{
    int64_t version, current = -1;
    enum store_result result = read_version(pg, &version);
    if (result == STORE_UNAVAILABLE) /* the connection may have broken long ago, which is noticed only now */
        result = read_version(pg, &version);
    if (result != STORE_OK)
        return result;
    const struct snapshot *held = snapshot_hold(cache);
    if (held != NULL)
        current = held->network.version;
    snapshot_release(held);
    if (current >= version)
        return STORE_OK;
    struct held_snapshot *loaded;
    result = load(pg, &loaded);
    if (result == STORE_OK)
        snapshot_install(cache, loaded);
    return result;
}

const struct identity *snapshot_identity(const struct snapshot *snapshot, const struct sha256 *secret_hash)
{
    size_t low = 0, high = snapshot->keys.count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        int order = memcmp(secret_hash, &snapshot->keys.identities[middle].secret_hash, sizeof *secret_hash);
        if (order == 0)
            return &snapshot->keys.identities[middle];
        if (order < 0)
            high = middle;
        else
            low = middle + 1;
    }
    return NULL;
}

const struct identity *snapshot_key(const struct snapshot *snapshot, int32_t key)
{
    return key > 0 && key < snapshot->keys.key_ids ? snapshot->keys.by_key[key] : NULL;
}
