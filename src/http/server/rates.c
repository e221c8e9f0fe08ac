/* SPDX-License-Identifier: ISC */
/* A leaky bucket for each key, kept as a single number: the instant at which the bucket will have run dry. */
#include "http/server/rates.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

struct rates {
    pthread_mutex_t lock;
    int64_t drop_us, room_us; /* the drop that a request adds, and the room of a bucket */
    int64_t *dry_at_us;       /* by key */
    size_t count;
};

struct rates *rates_new(int per_second, int burst)
{
    struct rates *rates = calloc(1, sizeof *rates);
    if (rates == NULL)
        return NULL;
    pthread_mutex_init(&rates->lock, NULL);
    if (per_second > 0)
        rates->drop_us = 1000000 / per_second;
    rates->room_us = rates->drop_us * burst;
    return rates;
}

void rates_free(struct rates *rates)
{
    if (rates == NULL)
        return;
    pthread_mutex_destroy(&rates->lock);
    free(rates->dry_at_us);
    free(rates);
}

static bool make_room(struct rates *rates, size_t key)
{
    size_t count = key * 2 + 16;
    int64_t *grown = realloc(rates->dry_at_us, count * sizeof *grown);
    if (grown == NULL)
        return false;
    memset(grown + rates->count, 0, (count - rates->count) * sizeof *grown);
    rates->dry_at_us = grown;
    rates->count = count;
    return true;
}

static bool add_drop(struct rates *rates, size_t key, int64_t now_us)
{
    if (key >= rates->count && !make_room(rates, key))
        return false;
    int64_t *dry_at_us = &rates->dry_at_us[key];
    int64_t level_us = *dry_at_us > now_us ? *dry_at_us - now_us : 0;
    if (level_us + rates->drop_us > rates->room_us)
        return false;
    *dry_at_us = now_us + level_us + rates->drop_us;
    return true;
}

bool rates_allow(struct rates *rates, int32_t key, int64_t now_us)
{
    if (rates->drop_us == 0)
        return true;
    pthread_mutex_lock(&rates->lock);
    bool allowed = add_drop(rates, (size_t)key, now_us);
    pthread_mutex_unlock(&rates->lock);
    return allowed;
}
