/* SPDX-License-Identifier: ISC */
/* Hashing the particulars of days, to keep them and to check them. A part's hash is grown page by page:
 * SHA-256 of the hash so far and the page's text, from 32 zero bytes. */
#include "app/particulars.h"

#include "app/checks.h"
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
    struct particulars_page page = {.last = day->first_entry - 1, .more = true};
    struct arena arena;
    enum store_result result = STORE_OK;
    arena_init(&arena, 0);
    while (page.more && result == STORE_OK) {
        arena_reset(&arena);
        result = is_wanted(pause) ? STORE_CONFLICT : particulars_entries(pg, &arena, day, page.last, &page);
        if (result == STORE_OK && (!grow(&parts[PARTICULARS_ENTRIES], page.entries) ||
                                   !grow(&parts[PARTICULARS_EXCEPTIONS], page.exceptions)))
            result = STORE_FAILED;
    }
    arena_dispose(&arena);
    return result;
}

/* `pause` NULL: nobody may want one. */
static enum store_result hash_parts(struct pg *pg, const struct particulars_day *day,
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

static void link_day(const struct particulars_day *day, const struct sha256 *parts, struct sha256 *digest)
{
    seal_of(&day->previous, &day->seal, parts, day->part_count * sizeof *parts, digest);
}

/* --- keeping ------------------------------------------------------------------------------------------- */

enum store_result particulars_keep(struct pg *pg, const struct particulars_pause *pause, bool *kept)
{
    struct arena arena;
    struct particulars_day *days;
    size_t count = 0;
    arena_init(&arena, 0);
    enum store_result result = particulars_wanting(pg, &arena, &days, &count);
    *kept = result == STORE_OK && count > 0;
    for (size_t i = 0; i < count && result == STORE_OK; i++) {
        struct particulars_day *day = &days[i];
        result = hash_parts(pg, day, pause, day->parts);
        link_day(day, day->parts, &day->digest);
        if (result == STORE_OK)
            result = particulars_add(pg, day);
    }
    arena_dispose(&arena);
    return result;
}

/* --- checking ------------------------------------------------------------------------------------------ */

static const char *const part_names[PARTICULARS_PARTS] = {
    [PARTICULARS_ENTRIES] = "who posted its entries, or when they were recorded",
    [PARTICULARS_EXCEPTIONS] = "its exceptions",
    [PARTICULARS_SITES] = "the lines of its sites",
    [PARTICULARS_DAY] = "its bounds, or when and by whom it was closed",
    [PARTICULARS_PAYMENTS] = "when its payments are due, to which account, or why they were held",
    [PARTICULARS_CHANGES] = "the changes of reference data and keys until its close",
};

static enum store_result check_day(const struct check_scope *scope, struct check_figures *figures,
                                   const struct particulars_day *day, const struct sha256 *previous)
{
    struct sha256 parts[PARTICULARS_PARTS], digest;
    char date[DATE_TEXT_MAX];
    enum store_result result = hash_parts(scope->pg, day, NULL, parts);
    if (result != STORE_OK)
        return result;
    date_format(day->date, date);
    for (size_t i = 0; i < day->part_count; i++)
        check_examined(scope, figures, memcmp(&parts[i], &day->parts[i], sizeof parts[i]) != 0,
                       "%s: %s have changed", date, part_names[i]);
    link_day(day, day->parts, &digest);
    check_examined(scope, figures,
                   memcmp(previous, &day->previous, sizeof *previous) != 0 ||
                       memcmp(&digest, &day->digest, sizeof digest) != 0,
                   "the particulars of %s do not follow those of the day before, or its seal", date);
    return STORE_OK;
}

/* The latest days may want theirs still; a gap is none of them. */
enum store_result check_particulars(const struct check_scope *scope, struct check_figures *figures)
{
    struct particulars_day *days;
    struct sha256 previous = {{0}};
    size_t count = 0;
    char date[DATE_TEXT_MAX], wanting[DATE_TEXT_MAX] = "";
    enum store_result result = particulars_days(scope->pg, scope->arena, scope->scheme->id, &days, &count);
    for (size_t i = 0; i < count && result == STORE_OK; i++) {
        date_format(days[i].date, date);
        if (!days[i].kept) {
            strcpy(wanting, date);
            continue;
        }
        check_examined(scope, figures, *wanting != '\0', "the particulars of %s are missing", wanting);
        result = check_day(scope, figures, &days[i], &previous);
        previous = days[i].digest;
        *wanting = '\0';
    }
    return result;
}
