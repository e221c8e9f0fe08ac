/* SPDX-License-Identifier: ISC */
/* Copies of calendar and ledger, each with the version or entry of the head at which it is current. */
#include "app/posting/kept_scheme.h"

#include "base/clock.h"
#include "store/proposed_store.h"

#include <stdlib.h>

/* Events are seldom a month late. A batch that has such an event reads older days; see prefetch.c. */
enum { CLOSED_DAYS_KEPT = 31 };

enum { ACCOUNTS_KEPT_MAX = 100000, DAYS_KEPT_MAX = 64 };

/* Between two waits in vain for one head, so many times as long as the wait. It holds up all schemes, so it
 * comes so seldom that their 99th percentile does not see it. */
enum { VAIN_WAIT_PAUSE_FACTOR = 200 };

/* A scheme without events for so long is not held up by a wait. */
enum { QUIET_MS = 1000 };

struct kept_scheme {
    int32_t scheme;
    uint64_t last_use; /* of kept_schemes.uses */
    size_t bytes;      /* as counted in kept_schemes.bytes */
    struct arena calendar_arena;
    struct calendar calendar;
    int64_t calendar_version;      /* 0: no calendar is kept */
    struct known_event *proposals; /* in the calendar's arena */
    size_t proposal_count;
    struct arena state_arena, recent_arena;
    struct ledger_state state;
    bool state_holds;         /* the last batch on it was committed */
    bool held;                /* somebody else held the head the last time */
    int64_t no_wait_until_ms; /* of clock_monotonic_ms */
};

void kept_schemes_dispose(struct kept_schemes *all)
{
    for (size_t i = 0; i < all->count; i++) {
        if (all->by_id[i] == NULL)
            continue;
        arena_dispose(&all->by_id[i]->calendar_arena);
        arena_dispose(&all->by_id[i]->state_arena);
        arena_dispose(&all->by_id[i]->recent_arena);
        free(all->by_id[i]);
    }
    free(all->by_id);
}

static bool make_room(struct kept_schemes *all, size_t id)
{
    size_t count = id * 2 + 8;
    struct kept_scheme **grown = realloc(all->by_id, count * sizeof(struct kept_scheme *));
    if (grown == NULL)
        return false;
    for (size_t i = all->count; i < count; i++)
        grown[i] = NULL;
    all->by_id = grown;
    all->count = count;
    return true;
}

struct kept_scheme *kept_scheme(struct kept_schemes *all, int32_t scheme)
{
    size_t id = (size_t)scheme;
    if (id >= all->count && !make_room(all, id))
        return NULL;
    if (all->by_id[id] != NULL) {
        all->by_id[id]->last_use = ++all->uses;
        return all->by_id[id];
    }
    struct kept_scheme *kept = calloc(1, sizeof *kept);
    if (kept == NULL)
        return NULL;
    kept->scheme = scheme;
    kept->last_use = ++all->uses;
    arena_init(&kept->calendar_arena, 0);
    arena_init(&kept->state_arena, 0);
    arena_init(&kept->recent_arena, 0);
    all->by_id[id] = kept;
    return kept;
}

static bool reaches(const struct calendar *calendar, struct instant instant)
{
    return calendar->count > 0 && calendar->days[calendar->count - 1].ends_at.us > instant.us;
}

bool kept_head(const struct kept_scheme *kept, struct instant now, struct head *head)
{
    *head = kept->state.head;
    return kept->state_holds && kept->calendar_version == head->calendar_version &&
           reaches(&kept->calendar, (struct instant){now.us + FUTURE_ALLOWED_US});
}

/* Lists the schemes whose calendars are not current. *stale is in the order of the requests. */
static enum store_result list_stale(struct kept_schemes *all, const struct head_request *requests,
                                    size_t count, struct instant until, struct kept_scheme **stale,
                                    size_t *stale_count)
{
    for (size_t i = 0; i < count; i++) {
        struct kept_scheme *kept = kept_scheme(all, requests[i].scheme);
        if (kept == NULL)
            return STORE_FAILED;
        if (kept->calendar_version == requests[i].head.calendar_version && reaches(&kept->calendar, until))
            continue;
        kept->calendar_version = 0;
        stale[(*stale_count)++] = kept;
    }
    return STORE_OK;
}

/* Gives each scheme its proposals of a list that is in the order of the schemes. */
static enum store_result give_proposals(struct kept_scheme *const *stale, size_t count,
                                        const struct known_event *proposals, size_t proposal_count)
{
    for (size_t i = 0, p = 0; i < count; i++) {
        struct kept_scheme *kept = stale[i];
        size_t first = p;
        while (p < proposal_count && proposals[p].scheme == kept->scheme)
            p++;
        kept->proposal_count = p - first;
        kept->proposals = arena_array(&kept->calendar_arena, kept->proposal_count, sizeof *kept->proposals);
        if (kept->proposals == NULL)
            return STORE_FAILED;
        for (size_t k = 0; k < kept->proposal_count; k++)
            kept->proposals[k] = proposals[first + k];
    }
    return STORE_OK;
}

static enum store_result read_calendars(struct kept_scheme *const *stale, size_t count, struct pg *pg,
                                        struct arena *arena, struct instant until, bool *extended)
{
    struct known_event *proposals;
    size_t proposal_count;
    int32_t *schemes = arena_array(arena, count, sizeof *schemes);
    struct calendar_request *wanted = arena_array(arena, count, sizeof *wanted);
    if (schemes == NULL || wanted == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < count; i++) {
        arena_reset(&stale[i]->calendar_arena);
        schemes[i] = stale[i]->scheme;
        wanted[i] =
            (struct calendar_request){stale[i]->scheme, &stale[i]->calendar_arena, &stale[i]->calendar};
    }
    enum store_result result = store_calendars_extend(pg, schemes, count, until, extended);
    if (result == STORE_OK)
        result = store_calendars(pg, arena, wanted, count, CLOSED_DAYS_KEPT);
    if (result == STORE_OK)
        result = store_proposals(pg, arena, schemes, count, &proposals, &proposal_count);
    return result == STORE_OK ? give_proposals(stale, count, proposals, proposal_count) : result;
}

enum store_result kept_calendars_renew(struct kept_schemes *all, struct pg *pg, struct arena *arena,
                                       const struct head_request *requests, size_t count, struct instant now)
{
    struct instant until = {now.us + FUTURE_ALLOWED_US};
    bool extended = false;
    size_t stale_count = 0;
    struct kept_scheme **stale = arena_array(arena, count, sizeof(struct kept_scheme *));
    if (stale == NULL)
        return STORE_FAILED;
    enum store_result result = list_stale(all, requests, count, until, stale, &stale_count);
    if (result != STORE_OK || stale_count == 0)
        return result;
    result = read_calendars(stale, stale_count, pg, arena, until, &extended);
    /* If this transaction has extended a calendar, a rollback may still undo that. So the calendars are read
     * again next time. */
    for (size_t i = 0; i < count && result == STORE_OK && !extended; i++)
        all->by_id[requests[i].scheme]->calendar_version = requests[i].head.calendar_version;
    return result;
}

const struct calendar *kept_calendar(const struct kept_scheme *kept)
{
    return &kept->calendar;
}

const struct known_event *kept_proposals(const struct kept_scheme *kept, size_t *count)
{
    *count = kept->proposal_count;
    return kept->proposals;
}

void kept_note_held(struct kept_scheme *kept, bool held)
{
    kept->held = held;
    if (!held)
        kept->no_wait_until_ms = 0;
}

bool kept_is_held(const struct kept_scheme *kept)
{
    return kept->held;
}

void kept_note_waited_in_vain(struct kept_scheme *kept, int waited_ms)
{
    kept->no_wait_until_ms = clock_monotonic_ms() + (int64_t)waited_ms * VAIN_WAIT_PAUSE_FACTOR;
}

bool kept_may_wait(const struct kept_scheme *kept)
{
    return clock_monotonic_ms() >= kept->no_wait_until_ms;
}

void kept_note_events(struct kept_schemes *all, int32_t scheme)
{
    if (scheme != all->newest_scheme)
        all->other_ms = all->newest_ms;
    all->newest_scheme = scheme;
    all->newest_ms = clock_monotonic_ms();
}

bool kept_others_have_events(const struct kept_schemes *all, int32_t scheme)
{
    int64_t other_ms = scheme == all->newest_scheme ? all->other_ms : all->newest_ms;
    return other_ms != 0 && clock_monotonic_ms() - other_ms < QUIET_MS;
}

bool kept_since(const struct kept_scheme *kept, int64_t *entry)
{
    *entry = kept->state.head.last_entry;
    return kept->state_holds;
}

/* Whether the state can be used at the head that was found. Catches it up with other writers' batches if need
 * be. Those batches do not have the entries of a close, but a close makes a new version of the calendar. */
static bool is_good(struct kept_scheme *kept, const struct head_request *request)
{
    struct ledger_state *state = &kept->state;
    return kept->state_holds && state->head.calendar_version == request->head.calendar_version &&
           state->accounts.count <= ACCOUNTS_KEPT_MAX && state->day_count <= DAYS_KEPT_MAX &&
           (state->head.last_entry == request->head.last_entry || ledger_state_catch_up(state, request));
}

struct ledger_state *kept_state(struct kept_scheme *kept, const struct head_request *request)
{
    if (!is_good(kept, request)) {
        arena_reset(&kept->state_arena);
        arena_reset(&kept->recent_arena);
        ledger_state_init(&kept->state, &kept->state_arena, &kept->recent_arena, &request->head);
    }
    kept->state_holds = false;
    return &kept->state;
}

void kept_state_confirm(struct kept_scheme *kept)
{
    kept->state_holds = true;
}

void kept_measure(struct kept_schemes *all, struct kept_scheme *kept)
{
    all->bytes -= kept->bytes;
    kept->bytes = sizeof *kept + arena_held(&kept->calendar_arena) + arena_held(&kept->state_arena) +
                  arena_held(&kept->recent_arena);
    all->bytes += kept->bytes;
}

/* Keeps only whether the head was held. */
static void forget(struct kept_schemes *all, struct kept_scheme *kept)
{
    arena_dispose(&kept->calendar_arena);
    arena_dispose(&kept->state_arena);
    arena_dispose(&kept->recent_arena);
    kept->calendar = (struct calendar){0};
    kept->calendar_version = 0;
    kept->proposals = NULL;
    kept->proposal_count = 0;
    kept->state_holds = false;
    kept_measure(all, kept);
}

/* NULL: nothing is kept that could be forgotten. */
static struct kept_scheme *least_recently_used(const struct kept_schemes *all)
{
    struct kept_scheme *found = NULL;
    for (size_t i = 0; i < all->count; i++) {
        struct kept_scheme *kept = all->by_id[i];
        if (kept != NULL && kept->bytes > sizeof *kept && (found == NULL || kept->last_use < found->last_use))
            found = kept;
    }
    return found;
}

/* Goes well below the bound, so that not every batch has to look for more. */
void kept_schemes_trim(struct kept_schemes *all)
{
    struct kept_scheme *kept;
    if (all->bytes_max == 0 || all->bytes <= all->bytes_max)
        return;
    while (all->bytes > all->bytes_max / 4 * 3 && (kept = least_recently_used(all)) != NULL)
        forget(all, kept);
}
