/* SPDX-License-Identifier: ISC */
/* One transaction for each slice. Of several instances, the one that gets the lock does the work. */
#include "app/closing/cups_follow.h"

#include "base/clock.h"
#include "store/cup_store.h"

enum { ENTRIES_AT_ONCE = 2000 };

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

/* Whether the other schemes can go on: only the slice failed, not the database. */
static bool is_for_others(enum store_result result)
{
    return result != STORE_UNAVAILABLE && result != STORE_OUTCOME_UNKNOWN;
}

/* A scheme whose slice fails holds up no other one. Its slice is tried again at the next look. */
enum store_result cups_follow(struct pg *pg, bool *more)
{
    struct arena arena;
    struct cup_slice *slices;
    size_t count = 0;
    bool locked = true;
    arena_init(&arena, 0);
    enum store_result result = store_cups_behind(pg, &arena, ENTRIES_AT_ONCE, &slices, &count);
    for (size_t i = 0; i < count && is_for_others(result) && locked; i++) {
        enum store_result kept = follow_slice(pg, &slices[i], &locked);
        if (kept != STORE_OK && kept != STORE_CONFLICT)
            result = kept;
    }
    *more = count > 0 && locked;
    arena_dispose(&arena);
    return result;
}
