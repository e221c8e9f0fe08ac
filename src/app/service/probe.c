/* SPDX-License-Identifier: ISC */
/* The probe's thread, and its judgement of what it sees. */
#include "app/service/probe.h"

#include "base/clock.h"
#include "base/log.h"
#include "base/memory.h"
#include "sql.h"
#include "store/ready_store.h"

#include <pthread.h>
#include <stdlib.h>
#include <time.h>

enum {
    LOOK_MS = 2000,   /* a look that takes longer has failed */
    PAUSE_MS = 1000,  /* from a look to the next, while there are callers … */
    IDLE_MS = 5000,   /* … and while there are none … */
    ASKED_MS = 60000, /* … which is so after a minute without a call */
    FRESH_MS = LOOK_MS + IDLE_MS + 1000,
};

struct probe {
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t wake;
    /* under the lock */
    bool stopping;
    int64_t asked_ms, looked_ms; /* looked_ms: when the last look began; 0: there was none yet */
    const char *fault;           /* the fault that the last look saw; NULL: all is well */
    /* fixed, or belongs to the thread */
    struct groups *groups;
    int64_t waiting_max_ms;
    struct pg *pg;
};

static const char *fault_of(struct pg *pg, enum store_result result, const struct readiness *readiness)
{
    if (pg_is_pooled(pg))
        return "The dsn leads to a connection pooler in place of PostgreSQL";
    if (result != STORE_OK)
        return "The database does not commit";
    if (!readiness->writable)
        return "The database takes no writes: it is read-only, or a standby";
    if (readiness->version != (int64_t)sql_migration_count)
        return "The database is of another version than this service";
    return NULL;
}

static void look(struct probe *probe)
{
    struct readiness readiness = {0};
    int64_t began_ms = clock_monotonic_ms();
    memory_forget_failures();
    pg_set_deadline(probe->pg, began_ms + LOOK_MS);
    pg_notice_closed(probe->pg);
    enum store_result result = store_try_commit(probe->pg, &readiness);
    const char *fault = fault_of(probe->pg, result, &readiness);
    pthread_mutex_lock(&probe->lock);
    if (fault != probe->fault)
        log_write(fault != NULL ? LOG_WARNING : LOG_INFO, fault != NULL ? "not ready" : "ready", "why",
                  fault != NULL ? fault : "", NULL);
    probe->fault = fault;
    probe->looked_ms = began_ms;
    pthread_mutex_unlock(&probe->lock);
}

/* When the next look is due. The caller holds the lock. */
static int64_t next_look(const struct probe *probe)
{
    bool asked = clock_monotonic_ms() - probe->asked_ms < ASKED_MS;
    return probe->looked_ms + (asked ? PAUSE_MS : IDLE_MS);
}

/* False: the thread must stop. */
static bool wait_for_turn(struct probe *probe)
{
    pthread_mutex_lock(&probe->lock);
    while (!probe->stopping && clock_monotonic_ms() < next_look(probe)) {
        int64_t at = next_look(probe);
        struct timespec until = {.tv_sec = at / 1000, .tv_nsec = at % 1000 * 1000000};
        pthread_cond_clockwait(&probe->wake, &probe->lock, CLOCK_MONOTONIC, &until);
    }
    bool go_on = !probe->stopping;
    pthread_mutex_unlock(&probe->lock);
    return go_on;
}

static void *run(void *argument)
{
    struct probe *probe = argument;
    do
        look(probe);
    while (wait_for_turn(probe));
    return NULL;
}

const char *probe_ask(struct probe *probe)
{
    struct intake_health writer;
    int64_t now = clock_monotonic_ms();
    groups_read_health(probe->groups, &writer);
    pthread_mutex_lock(&probe->lock);
    if (now - probe->asked_ms >= ASKED_MS)
        pthread_cond_signal(&probe->wake);
    probe->asked_ms = now;
    const char *fault = probe->fault;
    int64_t looked_ms = probe->looked_ms;
    pthread_mutex_unlock(&probe->lock);
    if (looked_ms == 0 || now - looked_ms > FRESH_MS)
        return "It is not known yet whether the database commits";
    if (fault == NULL && writer.oldest_ms > probe->waiting_max_ms)
        return "Events have waited for the writer for too long";
    /* The next look will show whether the failure has passed. */
    if (fault == NULL && writer.failed_at_ms >= looked_ms)
        return "The last events that were posted could not be recorded";
    return fault;
}

static void probe_free(struct probe *probe)
{
    pg_free(probe->pg);
    pthread_cond_destroy(&probe->wake);
    pthread_mutex_destroy(&probe->lock);
    free(probe);
}

struct probe *probe_start(const struct config *config, struct groups *groups, const struct pg_stop *stop)
{
    struct probe *probe = calloc(1, sizeof *probe);
    if (probe == NULL)
        return NULL;
    pthread_mutex_init(&probe->lock, NULL);
    pthread_cond_init(&probe->wake, NULL);
    probe->groups = groups;
    probe->asked_ms = clock_monotonic_ms();
    probe->waiting_max_ms = config->post_deadline_ms / 4;
    probe->pg = pg_new(config->dsn, &(struct pg_bounds){.statement_ms = LOOK_MS, .stop = stop});
    if (probe->pg == NULL || pthread_create(&probe->thread, NULL, run, probe) != 0) {
        probe_free(probe);
        return NULL;
    }
    return probe;
}

void probe_stop(struct probe *probe)
{
    if (probe == NULL)
        return;
    pthread_mutex_lock(&probe->lock);
    probe->stopping = true;
    pthread_cond_signal(&probe->wake);
    pthread_mutex_unlock(&probe->lock);
    pthread_join(probe->thread, NULL);
    probe_free(probe);
}
