/* SPDX-License-Identifier: ISC */
/* Looks once a second at what there is to do, and does it until nothing is left. */
#include "app/closer.h"

#include "app/close.h"
#include "base/clock.h"
#include "base/log.h"

#include <pthread.h>
#include <stdlib.h>
#include <time.h>

enum { PAUSE_S = 1 };

struct closer {
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t wake;
    bool stopping; /* under the lock */
    bool closes;   /* by configuration: else only calendars are kept */
    struct snapshot_cache *snapshots;
    struct pg *pg;
};

static bool stopping(struct closer *closer)
{
    pthread_mutex_lock(&closer->lock);
    bool stop = closer->stopping;
    pthread_mutex_unlock(&closer->lock);
    return stop;
}

static void report(const struct close_order *order, const struct snapshot *snapshot, enum store_result result)
{
    char date[DATE_TEXT_MAX];
    date_format(order->date, date);
    log_write(result == STORE_OK ? LOG_INFO : LOG_ERROR, result == STORE_OK ? "day closed" : "day not closed",
              "scheme", snapshot->network.scheme_by_id[order->scheme]->code, "date", date, NULL);
}

static bool close_one(struct closer *closer, const struct close_work *work)
{
    struct close_order order = {.scheme = work->scheme, .date = work->date};
    struct arena arena;
    struct faults faults;
    arena_init(&arena, 0);
    faults_init(&faults, &arena);
    enum store_result result = close_day(closer->pg, closer->snapshots, &order, &faults);
    const struct snapshot *snapshot = snapshot_hold(closer->snapshots);
    if (faults.count == 0 && snapshot != NULL)
        report(&order, snapshot, result);
    snapshot_release(snapshot);
    arena_dispose(&arena);
    return result == STORE_OK && faults.count == 0;
}

/* One look at all schemes. True: something was closed, so that there may be more. */
static bool work_once(struct closer *closer)
{
    struct arena arena;
    struct close_work *work;
    size_t count = 0;
    bool closed = false;
    struct instant now = clock_now();
    arena_init(&arena, 0);
    enum store_result result = pg_ready(closer->pg);
    if (result == STORE_OK)
        result = store_close_work(closer->pg, &arena, now, (struct instant){now.us + FUTURE_ALLOWED_US},
                                  &work, &count);
    for (size_t i = 0; i < count && result == STORE_OK && !stopping(closer); i++) {
        if (work[i].extend)
            result = close_extend_calendar(closer->pg, work[i].scheme);
        if (work[i].due && closer->closes && result == STORE_OK)
            closed |= close_one(closer, &work[i]);
    }
    arena_dispose(&arena);
    return closed;
}

/* False: it is time to stop. */
static bool pause_a_while(struct closer *closer)
{
    struct timespec until;
    clock_gettime(CLOCK_REALTIME, &until);
    until.tv_sec += PAUSE_S;
    pthread_mutex_lock(&closer->lock);
    if (!closer->stopping)
        pthread_cond_timedwait(&closer->wake, &closer->lock, &until);
    bool go_on = !closer->stopping;
    pthread_mutex_unlock(&closer->lock);
    return go_on;
}

static void *run(void *argument)
{
    struct closer *closer = argument;
    do {
        while (!stopping(closer) && work_once(closer))
            continue;
    } while (pause_a_while(closer));
    return NULL;
}

static void closer_free(struct closer *closer)
{
    pg_free(closer->pg);
    pthread_cond_destroy(&closer->wake);
    pthread_mutex_destroy(&closer->lock);
    free(closer);
}

struct closer *closer_start(const struct config *config, struct snapshot_cache *snapshots)
{
    struct closer *closer = calloc(1, sizeof *closer);
    if (closer == NULL)
        return NULL;
    pthread_mutex_init(&closer->lock, NULL);
    pthread_cond_init(&closer->wake, NULL);
    closer->closes = config->close_by_clock;
    closer->snapshots = snapshots;
    closer->pg = pg_new(config->dsn);
    if (closer->pg == NULL || pthread_create(&closer->thread, NULL, run, closer) != 0) {
        closer_free(closer);
        return NULL;
    }
    return closer;
}

void closer_stop(struct closer *closer)
{
    if (closer == NULL)
        return;
    pthread_mutex_lock(&closer->lock);
    closer->stopping = true;
    pthread_cond_signal(&closer->wake);
    pthread_mutex_unlock(&closer->lock);
    pthread_join(closer->thread, NULL);
    closer_free(closer);
}
