/* SPDX-License-Identifier: ISC */
/* Gathers the rows of all schemes, writes them, and folds. */
#include "app/posting/unwritten.h"

#include <assert.h>

/* The most movements of a scheme beside the balances, and the most batches that they are of: each is a row.
 * Readers look through all of them. The batches that made them share the cost of one fold. */
enum { UNFOLDED_MAX = 4096, RECENT_BATCHES_MAX = 256 };

/* A batch with at most so many movements, of all its schemes, adds them to the balances at once. It has
 * little to gain by waiting, and a later fold would make somebody wait. If another instance posts as well,
 * the batch does not do so, because then the other writer would have to read everything anew. */
enum { SMALL_BATCH = 16 };

/* Room for an opening at its bounds: some ten thousand lines and legs with the longest codes. */
enum { LEAF_BYTES_MAX = 32 << 20 };

void unwritten_init(struct unwritten *unwritten)
{
    buffer_init(&unwritten->leaf, LEAF_BYTES_MAX);
}

void unwritten_dispose(struct unwritten *unwritten)
{
    buffer_dispose(&unwritten->leaf);
}

bool unwritten_list(struct unwritten *unwritten, struct unwritten_part *part)
{
    if (part->listed)
        return true;
    if (!arena_grow(unwritten->arena, &unwritten->parts, unwritten->part_count, &unwritten->part_capacity,
                    sizeof(struct unwritten_part *)))
        return false;
    unwritten->parts[unwritten->part_count++] = part;
    part->after_entry = part->state->head.last_entry;
    part->listed = true;
    return true;
}

/* Movements and site days of several schemes, one scheme after the other. */
struct gathered {
    struct posted_scheme *schemes;
    struct movement_row *movements;
    struct site_day_row *site_days;
    size_t scheme_count, movement_count, site_day_count;
};

typedef const struct movement_sums *(*sums_reader)(const struct unwritten_part *part);

static const struct movement_sums *written_sums(const struct unwritten_part *part)
{
    return &part->sums;
}

static const struct movement_sums *recent_sums(const struct unwritten_part *part)
{
    return &part->state->recent;
}

static bool make_room(struct gathered *gathered, struct arena *arena, struct unwritten_part *const *parts,
                      size_t count, sums_reader sums_of)
{
    size_t movements = 0, site_days = 0;
    for (size_t i = 0; i < count; i++) {
        movements += sums_of(parts[i])->movement_keys.count;
        site_days += sums_of(parts[i])->site_day_keys.count;
    }
    *gathered = (struct gathered){
        .schemes = arena_array(arena, count, sizeof *gathered->schemes),
        .movements = arena_array(arena, movements, sizeof *gathered->movements),
        .site_days = arena_array(arena, site_days, sizeof *gathered->site_days),
    };
    return gathered->schemes != NULL && gathered->movements != NULL && gathered->site_days != NULL;
}

static void gather_part(struct gathered *gathered, const struct unwritten_part *part,
                        const struct movement_sums *sums)
{
    const struct head *head = &part->state->head;
    gathered->schemes[gathered->scheme_count++] = (struct posted_scheme){
        .scheme = head->scheme,
        .after_entry = part->after_entry,
        .last_entry = head->last_entry,
        .gross = head->gross,
        .unfolded = head->unfolded,
        .first_movement = gathered->movement_count,
        .movement_count = sums->movement_keys.count,
        .first_site_day = gathered->site_day_count,
        .site_day_count = sums->site_day_keys.count,
    };
    for (uint32_t i = 0; i < sums->movement_keys.count; i++) {
        struct movement_row *row = &gathered->movements[gathered->movement_count++];
        *row = sums->movements[i];
        row->scheme = head->scheme;
    }
    for (uint32_t i = 0; i < sums->site_day_keys.count; i++) {
        struct site_day_row *row = &gathered->site_days[gathered->site_day_count++];
        *row = sums->site_days[i];
        row->scheme = head->scheme;
    }
}

static bool gather(struct gathered *gathered, struct arena *arena, struct unwritten_part *const *parts,
                   size_t count, sums_reader sums_of)
{
    if (!make_room(gathered, arena, parts, count, sums_of))
        return false;
    for (size_t i = 0; i < count; i++)
        gather_part(gathered, parts[i], sums_of(parts[i]));
    return true;
}

/* The days that the entries are in. NULL: out of memory. */
static const struct day_counters **list_days(const struct unwritten *unwritten, size_t *count)
{
    size_t most = 0;
    for (size_t i = 0; i < unwritten->part_count; i++)
        most += unwritten->parts[i]->state->day_count;
    const struct day_counters **days =
        arena_array(unwritten->arena, most, sizeof(const struct day_counters *));
    for (size_t i = 0; days != NULL && i < unwritten->part_count; i++) {
        const struct unwritten_part *part = unwritten->parts[i];
        for (size_t d = 0; d < part->state->day_count; d++)
            if (part->state->days[d].last_entry > part->after_entry)
                days[(*count)++] = &part->state->days[d];
    }
    return days;
}

static enum store_result write(struct unwritten *unwritten, const struct gathered *gathered, bool at_once)
{
    size_t day_count = 0;
    const struct day_counters **days = list_days(unwritten, &day_count);
    if (days == NULL)
        return STORE_FAILED;
    return store_post(unwritten->pg, unwritten->arena,
                      &(struct posting_rows){
                          .recorded_at = unwritten->now,
                          .at_once = at_once,
                          .schemes = gathered->schemes,
                          .scheme_count = gathered->scheme_count,
                          .entries = unwritten->entries,
                          .entry_count = unwritten->entry_count,
                          .legs = unwritten->legs,
                          .leg_count = unwritten->leg_count,
                          .movements = gathered->movements,
                          .movement_count = gathered->movement_count,
                          .site_days = gathered->site_days,
                          .site_day_count = gathered->site_day_count,
                          .exceptions = unwritten->exceptions,
                          .exception_count = unwritten->exception_count,
                          .references = unwritten->references,
                          .reference_count = unwritten->reference_count,
                          .fulfilments = unwritten->fulfilments,
                          .fulfilment_count = unwritten->fulfilment_count,
                          .transfers = unwritten->transfers,
                          .transfer_count = unwritten->transfer_count,
                          .forfeited = unwritten->forfeited,
                          .forfeited_count = unwritten->forfeited_count,
                          .reversed = unwritten->reversed,
                          .reversed_count = unwritten->reversed_count,
                          .agreed = unwritten->agreed,
                          .agreed_count = unwritten->agreed_count,
                          .followed = unwritten->followed,
                          .followed_count = unwritten->followed_count,
                          .days = days,
                          .day_count = day_count,
                      });
}

/* The schemes of which this writer knows all recent movements: it sends their sums. */
static enum store_result fold_known(const struct unwritten *unwritten, struct unwritten_part *const *parts,
                                    size_t count)
{
    struct gathered sums;
    if (count == 0)
        return STORE_OK;
    if (!gather(&sums, unwritten->arena, parts, count, recent_sums))
        return STORE_FAILED;
    return store_fold_sums(unwritten->pg, &(struct posting_rows){
                                              .schemes = sums.schemes,
                                              .scheme_count = sums.scheme_count,
                                              .movements = sums.movements,
                                              .movement_count = sums.movement_count,
                                              .site_days = sums.site_days,
                                              .site_day_count = sums.site_day_count,
                                          });
}

/* The other schemes: the database adds up their recent movements. */
static enum store_result fold_unknown(const struct unwritten *unwritten, struct unwritten_part *const *parts,
                                      size_t count)
{
    int32_t *schemes = arena_array(unwritten->arena, count, sizeof *schemes);
    if (schemes == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < count; i++)
        schemes[i] = parts[i]->state->head.scheme;
    return count > 0 ? store_fold(unwritten->pg, schemes, count) : STORE_OK;
}

static void note_folded(struct ledger_state *state)
{
    assert(state->recent_arena != NULL);
    ledger_state_forget_recent(state);
    state->head.unfolded = 0;
    state->head.folded_through = state->head.last_entry;
}

/* Folds the schemes that have many recent movements. */
static enum store_result fold(struct unwritten *unwritten)
{
    size_t count = 0, known = 0;
    size_t most = unwritten->part_count;
    struct unwritten_part **parts = arena_array(unwritten->arena, most, sizeof(struct unwritten_part *));
    if (parts == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < most; i++) {
        struct unwritten_part *part = unwritten->parts[i];
        if (part->state->head.unfolded <= UNFOLDED_MAX && part->state->recent_batches < RECENT_BATCHES_MAX)
            continue;
        parts[count] = part;
        if (part->state->recent_known) {
            parts[count] = parts[known];
            parts[known++] = part;
        }
        count++;
    }
    enum store_result result = fold_known(unwritten, parts, known);
    if (result == STORE_OK)
        result = fold_unknown(unwritten, parts + known, count - known);
    for (size_t i = 0; i < count && result == STORE_OK; i++)
        note_folded(parts[i]->state);
    return result;
}

/* Adds the movements that are now beside the balances to those that this writer knows. */
static enum store_result note_recent(struct unwritten *unwritten)
{
    enum store_result result = STORE_OK;
    for (size_t i = 0; i < unwritten->part_count && result == STORE_OK; i++) {
        struct unwritten_part *part = unwritten->parts[i];
        part->state->recent_batches++;
        if (part->state->recent_known)
            result = movement_sums_add_all(&part->state->recent, &part->sums);
    }
    return result;
}

static void forget_written(struct unwritten *unwritten)
{
    for (size_t i = 0; i < unwritten->part_count; i++) {
        movement_sums_init(&unwritten->parts[i]->sums, unwritten->arena);
        unwritten->parts[i]->listed = false;
    }
    unwritten->part_count = unwritten->entry_count = unwritten->leg_count = unwritten->exception_count = 0;
    unwritten->reference_count = unwritten->fulfilment_count = unwritten->transfer_count =
        unwritten->forfeited_count = unwritten->reversed_count = unwritten->agreed_count =
            unwritten->followed_count = 0;
}

static bool goes_at_once(const struct unwritten *unwritten)
{
    size_t movements = 0;
    for (size_t i = 0; i < unwritten->part_count; i++)
        movements += unwritten->parts[i]->sums.movement_keys.count;
    return unwritten->at_once || (!unwritten->shared && movements <= SMALL_BATCH);
}

enum store_result unwritten_flush(struct unwritten *unwritten)
{
    struct gathered gathered;
    if (unwritten->entry_count == 0)
        return STORE_OK;
    enum store_result result =
        unwritten->before_write != NULL ? unwritten->before_write(unwritten->owner) : STORE_OK;
    if (result != STORE_OK)
        return result;
    bool at_once = goes_at_once(unwritten);
    for (size_t i = 0; i < unwritten->part_count && !at_once; i++)
        unwritten->parts[i]->state->head.unfolded += (int32_t)unwritten->parts[i]->sums.movement_keys.count;
    if (!gather(&gathered, unwritten->arena, unwritten->parts, unwritten->part_count, written_sums))
        return STORE_FAILED;
    result = write(unwritten, &gathered, at_once);
    if (result == STORE_OK && !at_once)
        result = note_recent(unwritten);
    if (result == STORE_OK && !at_once)
        result = fold(unwritten);
    if (result == STORE_OK)
        forget_written(unwritten);
    return result;
}
