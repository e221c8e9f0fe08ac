/* SPDX-License-Identifier: ISC */
/* The watch keeps the ends of the feeds as it last saw them. A reader read its places before it began to
 * wait. It is compared with the ends that are known then, and with each later look that found a change. So
 * nothing that came meanwhile is missed. */
#include "app/service/feed_watch.h"

#include "base/clock.h"
#include "base/memory.h"
#include "store/feed_store.h"

#include <pthread.h>
#include <stdlib.h>
#include <time.h>

enum {
    LOOK_MS = 2000,  /* a look that takes longer has failed */
    PAUSE_MS = 1000, /* from a look to the next … */
    NOTICE_MS = 100  /* … if this instance has recorded something meanwhile */
};

struct feed_watch {
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t wake;
    /* under the lock */
    bool stopping, over; /* over: nobody may wait any more */
    bool noticed;
    struct feed_waiter *waiters;
    size_t waiting;
    struct arena *ends_arena;    /* one of `arenas`, which has the ends */
    const struct feed_end *ends; /* in the order of the schemes' ids */
    size_t end_count;
    /* fixed, or belongs to the thread */
    size_t waiting_max;
    struct arena arenas[2];
    struct pg *pg;
};

/* --- news: the caller holds the lock ---------------------------------------------------------------------
 */

/* Both are in the order of the schemes' ids. */
static bool has_news(const struct feed_watch *watch, const struct feed_waiter *waiter)
{
    size_t at = 0;
    for (size_t i = 0; i < waiter->count; i++) {
        while (at < watch->end_count && watch->ends[at].scheme < waiter->places[i].scheme)
            at++;
        if (at == watch->end_count)
            return false;
        if (watch->ends[at].scheme == waiter->places[i].scheme &&
            feed_goes_on(&waiter->places[i], &watch->ends[at]))
            return true;
    }
    return false;
}

/* Moves the waiters whose wait ends into *news or *over. `all`: everybody's wait ends. */
static void part(struct feed_watch *watch, bool changed, bool all, struct feed_waiter **news,
                 struct feed_waiter **over)
{
    int64_t now_ms = clock_monotonic_ms();
    struct feed_waiter **at = &watch->waiters;
    while (*at != NULL) {
        struct feed_waiter *waiter = *at, **list = NULL;
        if (changed && has_news(watch, waiter))
            list = news;
        else if (all || now_ms >= waiter->until_ms || !waiter->is_there(waiter))
            list = over;
        if (list == NULL) {
            at = &waiter->next;
            continue;
        }
        *at = waiter->next;
        waiter->next = *list;
        *list = waiter;
        watch->waiting--;
    }
}

/* To be called without the lock: `end` takes locks of others. */
static void end_waits(struct feed_waiter *list, bool news)
{
    while (list != NULL) {
        struct feed_waiter *waiter = list;
        list = waiter->next;
        waiter->end(waiter, news);
    }
}

/* --- the thread ------------------------------------------------------------------------------------------
 */

static bool are_same(const struct feed_end *one, const struct feed_end *other)
{
    return one->scheme == other->scheme && one->last_entry == other->last_entry &&
           one->cut_entry == other->cut_entry && one->cut_day == other->cut_day;
}

static bool have_changed(const struct feed_watch *watch, const struct feed_end *ends, size_t count)
{
    if (count != watch->end_count)
        return true;
    for (size_t i = 0; i < count; i++)
        if (!are_same(&ends[i], &watch->ends[i]))
            return true;
    return false;
}

/* Asks the database. *changed: the ends are not as before. The thread alone changes them. */
static void look(struct feed_watch *watch, bool *changed)
{
    struct feed_end *ends = NULL;
    size_t count = 0;
    struct arena *arena = watch->ends_arena == &watch->arenas[0] ? &watch->arenas[1] : &watch->arenas[0];
    memory_forget_failures();
    arena_reset(arena);
    pg_set_deadline(watch->pg, clock_monotonic_ms() + LOOK_MS);
    pg_notice_closed(watch->pg);
    enum store_result result = pg_ready(watch->pg);
    if (result == STORE_OK)
        result = read_feed_ends(watch->pg, arena, NULL, 0, &ends, &count);
    *changed = result == STORE_OK && have_changed(watch, ends, count);
    if (!*changed)
        return;
    pthread_mutex_lock(&watch->lock);
    watch->ends_arena = arena;
    watch->ends = ends;
    watch->end_count = count;
    pthread_mutex_unlock(&watch->lock);
}

static void look_and_tell(struct feed_watch *watch)
{
    struct feed_waiter *news = NULL, *over = NULL;
    bool changed;
    look(watch, &changed);
    pthread_mutex_lock(&watch->lock);
    part(watch, changed, false, &news, &over);
    pthread_mutex_unlock(&watch->lock);
    end_waits(news, true);
    end_waits(over, false);
}

static void wait_until(struct feed_watch *watch, int64_t at_ms)
{
    const struct timespec until = {.tv_sec = at_ms / 1000, .tv_nsec = at_ms % 1000 * 1000000};
    pthread_cond_clockwait(&watch->wake, &watch->lock, CLOCK_MONOTONIC, &until);
}

/* False: the thread must stop. While nobody waits, it does not look. */
static bool wait_for_turn(struct feed_watch *watch, int64_t looked_ms)
{
    pthread_mutex_lock(&watch->lock);
    while (!watch->stopping) {
        int64_t due_ms = looked_ms + (watch->noticed ? NOTICE_MS : PAUSE_MS);
        if (watch->waiters == NULL)
            pthread_cond_wait(&watch->wake, &watch->lock);
        else if (clock_monotonic_ms() < due_ms)
            wait_until(watch, due_ms);
        else
            break;
    }
    bool go_on = !watch->stopping;
    watch->noticed = false;
    pthread_mutex_unlock(&watch->lock);
    return go_on;
}

static void *run(void *argument)
{
    struct feed_watch *watch = argument;
    int64_t looked_ms = clock_monotonic_ms() - PAUSE_MS;
    while (wait_for_turn(watch, looked_ms)) {
        looked_ms = clock_monotonic_ms();
        look_and_tell(watch);
    }
    return NULL;
}

/* --- waiting ---------------------------------------------------------------------------------------------
 */

enum feed_wait feed_watch_wait(struct feed_watch *watch, struct feed_waiter *waiter)
{
    enum feed_wait wait = FEED_WAITS;
    pthread_mutex_lock(&watch->lock);
    if (has_news(watch, waiter))
        wait = FEED_HAS_NEWS;
    else if (watch->over || clock_monotonic_ms() >= waiter->until_ms)
        wait = FEED_WAIT_IS_OVER;
    else if (watch->waiting >= watch->waiting_max)
        wait = FEED_WAITS_TOO_MANY;
    if (wait == FEED_WAITS) {
        if (watch->waiters == NULL)
            pthread_cond_signal(&watch->wake);
        waiter->next = watch->waiters;
        watch->waiters = waiter;
        watch->waiting++;
    }
    pthread_mutex_unlock(&watch->lock);
    return wait;
}

void feed_watch_notice(void *context)
{
    struct feed_watch *watch = context;
    pthread_mutex_lock(&watch->lock);
    if (!watch->noticed && watch->waiters != NULL)
        pthread_cond_signal(&watch->wake);
    watch->noticed = true;
    pthread_mutex_unlock(&watch->lock);
}

void feed_watch_end_all(struct feed_watch *watch)
{
    struct feed_waiter *news = NULL, *over = NULL;
    pthread_mutex_lock(&watch->lock);
    watch->over = true;
    part(watch, false, true, &news, &over);
    pthread_mutex_unlock(&watch->lock);
    end_waits(over, false);
}

size_t feed_watch_count(struct feed_watch *watch)
{
    pthread_mutex_lock(&watch->lock);
    size_t waiting = watch->waiting;
    pthread_mutex_unlock(&watch->lock);
    return waiting;
}

/* --- start and stop --------------------------------------------------------------------------------------
 */

static void feed_watch_free(struct feed_watch *watch)
{
    pg_free(watch->pg);
    arena_dispose(&watch->arenas[0]);
    arena_dispose(&watch->arenas[1]);
    pthread_cond_destroy(&watch->wake);
    pthread_mutex_destroy(&watch->lock);
    free(watch);
}

struct feed_watch *feed_watch_start(const struct config *config, const struct pg_stop *stop)
{
    struct feed_watch *watch = calloc(1, sizeof *watch);
    if (watch == NULL)
        return NULL;
    pthread_mutex_init(&watch->lock, NULL);
    pthread_cond_init(&watch->wake, NULL);
    arena_init(&watch->arenas[0], 0);
    arena_init(&watch->arenas[1], 0);
    watch->waiting_max = (size_t)config->feed_waiters;
    watch->pg = pg_new(config->dsn, &(struct pg_bounds){.statement_ms = LOOK_MS, .stop = stop});
    if (watch->pg == NULL || pthread_create(&watch->thread, NULL, run, watch) != 0) {
        feed_watch_free(watch);
        return NULL;
    }
    return watch;
}

void feed_watch_stop(struct feed_watch *watch)
{
    if (watch == NULL)
        return;
    pthread_mutex_lock(&watch->lock);
    watch->stopping = true;
    pthread_cond_signal(&watch->wake);
    pthread_mutex_unlock(&watch->lock);
    pthread_join(watch->thread, NULL);
    feed_watch_free(watch);
}
