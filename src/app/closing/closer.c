/* SPDX-License-Identifier: ISC */
/* The clock looks once a second for work, and again as soon as its crew has none left. It keeps what it saw.
 * So others can ask how the closes stand while the database is busy or does not answer. */
#include "app/closing/closer.h"

#include "app/closing/close_crew.h"
#include "app/closing/cups_follow.h"
#include "app/closing/particulars.h"
#include "app/closing/returns_follow.h"
#include "base/clock.h"
#include "base/log.h"
#include "base/memory.h"
#include "store/close_store.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum {
    PAUSE_MS = 1000,
    LOOK_MS = 5000,     /* if a look takes longer, the database counts as not answering */
    LATE_S = 300,       /* a close is late if it has been due for longer */
    WARN_AGAIN_S = 3600 /* warnings about one late close come this far apart */
};

struct watched {
    int32_t scheme;
    struct closes closes;
    int64_t warned_ms; /* when we last warned of a late close; 0: none is late */
};

struct closer {
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t wake;
    /* under the lock */
    bool stopping;
    bool look_again;      /* at once … */
    int64_t next_look_ms; /* … or else at this time */
    bool database_answers;
    struct instant looked_at;
    struct watched *watched; /* in the order of the schemes' ids */
    size_t watched_count;
    /* the clock's own */
    bool closes; /* a setting */
    struct close_crew *crew;
    struct cups_follower follower;
    struct returns_follower returns;
    struct pg *pg;
};

static bool stopping(void *context)
{
    struct closer *closer = context;
    pthread_mutex_lock(&closer->lock);
    bool stop = closer->stopping;
    pthread_mutex_unlock(&closer->lock);
    return stop;
}

/* --- the state of the closes ---------------------------------------------------------------------------- */

static void warn_if_late(const struct closer *closer, const struct close_work *work, struct instant now,
                         struct watched *watched)
{
    char date[DATE_TEXT_MAX], seconds[24];
    int64_t late_us = work->due ? now.us - work->due_at.us : 0, now_ms = clock_monotonic_ms();
    if (late_us < LATE_S * INT64_C(1000000)) {
        watched->warned_ms = 0;
        return;
    }
    if (watched->warned_ms != 0 && now_ms - watched->warned_ms < WARN_AGAIN_S * INT64_C(1000))
        return;
    watched->warned_ms = now_ms;
    date_format(work->date, date);
    snprintf(seconds, sizeof seconds, "%lld", (long long)(late_us / 1000000));
    log_write(LOG_WARNING, "a close is late", "scheme", work->code, "date", date, "seconds", seconds,
              "close_by_clock", closer->closes ? "yes" : "no", NULL);
}

static int64_t warned_before(const struct closer *closer, int32_t scheme)
{
    for (size_t i = 0; i < closer->watched_count; i++)
        if (closer->watched[i].scheme == scheme)
            return closer->watched[i].warned_ms;
    return 0;
}

/* Replaces the earlier view, unless memory is lacking. */
static void watch(struct closer *closer, const struct close_work *work, size_t count, struct instant now)
{
    struct watched *watched = calloc(count + 1, sizeof *watched);
    if (watched == NULL)
        return;
    for (size_t i = 0; i < count; i++) {
        struct closes *closes = &watched[i].closes;
        watched[i].scheme = work[i].scheme;
        watched[i].warned_ms = warned_before(closer, work[i].scheme);
        snprintf(closes->scheme, sizeof closes->scheme, "%s", work[i].code);
        closes->has_open = work[i].has_open;
        closes->due_at = work[i].due_at;
        closes->open_days = work[i].open_days;
        closes->has_closed = work[i].has_closed;
        closes->closed_at = work[i].closed_at;
        warn_if_late(closer, &work[i], now, &watched[i]);
    }
    pthread_mutex_lock(&closer->lock);
    free(closer->watched);
    closer->watched = watched;
    closer->watched_count = count;
    closer->looked_at = now;
    pthread_mutex_unlock(&closer->lock);
}

static void end_look(struct closer *closer, enum store_result result)
{
    pthread_mutex_lock(&closer->lock);
    closer->database_answers = result != STORE_UNAVAILABLE && result != STORE_TOO_SLOW;
    closer->next_look_ms = clock_monotonic_ms() + PAUSE_MS;
    pthread_mutex_unlock(&closer->lock);
}

bool closer_view(struct closer *closer, struct arena *arena, struct clock_view *view)
{
    pthread_mutex_lock(&closer->lock);
    struct closes *schemes = arena_array(arena, closer->watched_count + 1, sizeof *schemes);
    for (size_t i = 0; i < closer->watched_count && schemes != NULL; i++)
        schemes[i] = closer->watched[i].closes;
    *view = (struct clock_view){.looked_at = closer->looked_at,
                                .database_answers = closer->database_answers,
                                .schemes = schemes,
                                .scheme_count = closer->watched_count};
    pthread_mutex_unlock(&closer->lock);
    return schemes != NULL;
}

/* --- the work ------------------------------------------------------------------------------------------- */

/* Particulars wait for closes, because people wait for these. */
static bool has_kept_enough(void *context)
{
    struct closer *closer = context;
    pthread_mutex_lock(&closer->lock);
    bool enough = closer->stopping || closer->look_again || clock_monotonic_ms() >= closer->next_look_ms;
    pthread_mutex_unlock(&closer->lock);
    return enough;
}

static void keep_particulars(struct closer *closer)
{
    const struct particulars_pause pause = {stopping, has_kept_enough, closer};
    bool kept = true;
    enum store_result result = STORE_OK;
    while (result == STORE_OK && kept && !has_kept_enough(closer) && !close_crew_is_behind(closer->crew))
        result = particulars_keep(closer->pg, &pause, &kept);
}

static void follow_cups(struct closer *closer)
{
    bool more = true;
    enum store_result result = STORE_OK;
    while (result == STORE_OK && more && !has_kept_enough(closer))
        result = cups_follow(closer->pg, &closer->follower, &more);
}

/* Comes before all else that the clock does between looks: the books of two schemes differ until then. */
static void follow_returns(struct closer *closer)
{
    bool more = true;
    enum store_result result = STORE_OK;
    while (result == STORE_OK && more && !has_kept_enough(closer))
        result = returns_follow(closer->pg, &closer->returns, &more);
}

/* Looks at all schemes, and gives the crew what it found. */
static void look(struct closer *closer)
{
    struct arena arena;
    struct close_work *work;
    size_t count = 0;
    struct instant now = clock_now();
    memory_forget_failures();
    arena_init(&arena, 0);
    close_crew_begin_look(closer->crew);
    pg_set_deadline(closer->pg, clock_monotonic_ms() + LOOK_MS);
    enum store_result result = pg_ready(closer->pg);
    if (result == STORE_OK)
        result = store_close_work(closer->pg, &arena, now, (struct instant){now.us + FUTURE_ALLOWED_US},
                                  &work, &count);
    pg_set_deadline(closer->pg, 0);
    end_look(closer, result);
    if (result == STORE_OK) {
        watch(closer, work, count, now);
        close_crew_offer(closer->crew, work, count);
    }
    arena_dispose(&arena);
    if (result == STORE_OK) {
        follow_returns(closer);
        keep_particulars(closer);
        follow_cups(closer);
    }
}

/* Runs on a closing thread. */
static void look_again(void *context)
{
    struct closer *closer = context;
    pthread_mutex_lock(&closer->lock);
    closer->look_again = true;
    pthread_cond_signal(&closer->wake);
    pthread_mutex_unlock(&closer->lock);
}

/* False: it is time to stop. The clock is monotonic, so setting the time of day back makes no pause
 * longer. */
static bool wait_for_next_look(struct closer *closer)
{
    pthread_mutex_lock(&closer->lock);
    int64_t at = closer->next_look_ms;
    const struct timespec until = {.tv_sec = at / 1000, .tv_nsec = at % 1000 * 1000000};
    while (!closer->stopping && !closer->look_again && clock_monotonic_ms() < at)
        pthread_cond_clockwait(&closer->wake, &closer->lock, CLOCK_MONOTONIC, &until);
    bool go_on = !closer->stopping;
    closer->look_again = false;
    pthread_mutex_unlock(&closer->lock);
    return go_on;
}

static void *run(void *argument)
{
    struct closer *closer = argument;
    while (wait_for_next_look(closer))
        look(closer);
    return NULL;
}

static void closer_free(struct closer *closer)
{
    close_crew_stop(closer->crew);
    pg_free(closer->pg);
    free(closer->watched);
    pthread_cond_destroy(&closer->wake);
    pthread_mutex_destroy(&closer->lock);
    free(closer);
}

struct closer *closer_start(const struct config *config, struct snapshot_cache *snapshots,
                            const struct pg_stop *stop)
{
    struct closer *closer = calloc(1, sizeof *closer);
    if (closer == NULL)
        return NULL;
    pthread_mutex_init(&closer->lock, NULL);
    pthread_cond_init(&closer->wake, NULL);
    closer->closes = config->close_by_clock;
    closer->follower = (struct cups_follower){.has_enough = has_kept_enough, .context = closer};
    closer->returns =
        (struct returns_follower){.has_enough = has_kept_enough, .context = closer, .snapshots = snapshots};
    closer->pg = pg_new(config->dsn,
                        &(struct pg_bounds){.statement_ms = config->long_deadline_s * 1000, .stop = stop});
    closer->crew = close_crew_start(config, snapshots, stop, (struct close_crew_owner){look_again, closer});
    if (closer->pg == NULL || closer->crew == NULL ||
        pthread_create(&closer->thread, NULL, run, closer) != 0) {
        closer_free(closer);
        return NULL;
    }
    return closer;
}

void closer_stop(struct closer *closer)
{
    if (closer == NULL)
        return;
    close_crew_halt(closer->crew);
    pthread_mutex_lock(&closer->lock);
    closer->stopping = true;
    pthread_cond_signal(&closer->wake);
    pthread_mutex_unlock(&closer->lock);
    pthread_join(closer->thread, NULL);
    closer_free(closer);
}
