/* SPDX-License-Identifier: ISC */
/* One transaction for each slice. Of several instances, the one that gets the lock does the work. */
#include "app/closing/cups_follow.h"

#include "base/clock.h"
#include "store/cup_store.h"

enum {
    ENTRIES_MAX = 2000, /* of a slice */
    SLICE_MS = 5000     /* the clock has other work */
};

static enum store_result follow_slice(struct pg *pg, const struct cup_slice *slice, bool *locked)
{
    enum store_result result = pg_begin(pg);
    if (result == STORE_OK)
        result = store_cups_lock(pg, locked);
    if (result == STORE_OK && *locked)
        result = store_cups_keep(pg, slice, clock_now());
    if (result == STORE_OK)
        result = pg_commit(pg);
    if (result != STORE_OK)
        pg_rollback(pg);
    return result;
}

/* The next slice is half as long after one that took too long, and then becomes longer again. A single entry
 * may take as long as it needs. */
static void learn(struct cups_follower *follower, enum store_result result)
{
    if (result == STORE_TOO_SLOW && follower->entries > 1)
        follower->entries /= 2;
    else if (result == STORE_OK && follower->entries < ENTRIES_MAX)
        follower->entries += 1 + follower->entries / 8;
}

/* Whether the other schemes can go on: only the slice failed, not the database. */
static bool is_for_others(enum store_result result)
{
    return result != STORE_UNAVAILABLE && result != STORE_OUTCOME_UNKNOWN && result != STORE_TOO_SLOW;
}

static enum store_result follow_all(struct pg *pg, struct cups_follower *follower,
                                    const struct cup_slice *slices, size_t count, bool *locked)
{
    enum store_result result = STORE_OK;
    for (size_t i = 0; i < count && is_for_others(result) && *locked; i++) {
        if (follower->has_enough(follower->context))
            break;
        pg_set_deadline(pg, follower->entries > 1 ? clock_monotonic_ms() + SLICE_MS : 0);
        enum store_result kept = follow_slice(pg, &slices[i], locked);
        pg_set_deadline(pg, 0);
        learn(follower, kept);
        follower->last = slices[i].scheme;
        if (kept != STORE_OK && kept != STORE_CONFLICT)
            result = kept;
    }
    return result;
}

/* A scheme whose slice fails holds up no other one. Its slice is tried again at the next look. */
enum store_result cups_follow(struct pg *pg, struct cups_follower *follower, bool *more)
{
    struct arena arena;
    struct cup_slice *slices;
    size_t count = 0;
    bool locked = true;
    arena_init(&arena, 0);
    if (follower->entries == 0)
        follower->entries = ENTRIES_MAX;
    enum store_result result =
        store_cups_behind(pg, &arena, follower->entries, follower->last, &slices, &count);
    if (result == STORE_OK)
        result = follow_all(pg, follower, slices, count, &locked);
    *more = count > 0 && locked;
    arena_dispose(&arena);
    return result;
}
