/* SPDX-License-Identifier: ISC */
/* Hashing the particulars of days. The hash of a part begins as 32 zero bytes. Each slice makes it the
 * SHA-256 of the hash so far and the text of the slice. */
#include "app/closing/particulars.h"

#include "base/buffer.h"
#include "store/particulars_store.h"

#include <string.h>

enum { TEXT_MAX = 256 << 20 };

/* False: out of memory. */
static bool grow(struct sha256 *hash, const char *text)
{
    struct buffer both;
    if (*text == '\0')
        return true;
    buffer_init(&both, TEXT_MAX);
    buffer_add(&both, hash->bytes, sizeof hash->bytes);
    buffer_add_text(&both, text);
    bool failed = both.failed;
    if (!failed)
        sha256_of(both.data, both.length, hash);
    buffer_dispose(&both);
    return !failed;
}

static bool is_wanted(const struct particulars_pause *pause)
{
    return pause != NULL && pause->wanted(pause->context);
}

static enum store_result hash_entries(struct pg *pg, const struct particulars_day *day,
                                      const struct particulars_pause *pause, struct sha256 *parts)
{
    struct particulars_slice slice = {.last = day->first_entry - 1, .more = true};
    struct arena arena;
    enum store_result result = STORE_OK;
    arena_init(&arena, 0);
    while (slice.more && result == STORE_OK) {
        arena_reset(&arena);
        result = is_wanted(pause) ? STORE_CONFLICT : particulars_entries(pg, &arena, day, slice.last, &slice);
        if (result == STORE_OK && (!grow(&parts[PARTICULARS_ENTRIES], slice.entries) ||
                                   !grow(&parts[PARTICULARS_EXCEPTIONS], slice.exceptions)))
            result = STORE_FAILED;
    }
    arena_dispose(&arena);
    return result;
}

enum store_result particulars_hash(struct pg *pg, const struct particulars_day *day,
                                   const struct particulars_pause *pause,
                                   struct sha256 parts[static PARTICULARS_PARTS])
{
    const char *text;
    struct arena arena;
    memset(parts, 0, PARTICULARS_PARTS * sizeof *parts);
    enum store_result result = hash_entries(pg, day, pause, parts);
    arena_init(&arena, 0);
    for (enum particulars_part part = PARTICULARS_SITES; part < PARTICULARS_PARTS && result == STORE_OK;
         part++) {
        result = particulars_text(pg, &arena, day, part, &text);
        if (result == STORE_OK && !grow(&parts[part], text))
            result = STORE_FAILED;
    }
    arena_dispose(&arena);
    return result;
}

void particulars_link(const struct particulars_day *day, const struct sha256 *parts, struct sha256 *digest)
{
    seal_of(&day->previous, &day->seal, parts, day->part_count * sizeof *parts, digest);
}

enum store_result particulars_keep(struct pg *pg, const struct particulars_pause *pause, bool *kept)
{
    struct arena arena;
    struct particulars_day *days;
    size_t count = 0;
    arena_init(&arena, 0);
    enum store_result result = particulars_wanting(pg, &arena, &days, &count);
    *kept = result == STORE_OK && count > 0;
    for (size_t i = 0; i < count && result == STORE_OK && !pause->enough(pause->context); i++) {
        struct particulars_day *day = &days[i];
        result = particulars_hash(pg, day, pause, day->parts);
        particulars_link(day, day->parts, &day->digest);
        if (result == STORE_OK)
            result = particulars_add(pg, day);
    }
    arena_dispose(&arena);
    return result;
}
