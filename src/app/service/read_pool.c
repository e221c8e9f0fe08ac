/* SPDX-License-Identifier: ISC */
/* The queue is a singly linked list under a single lock. The jobs contain their own links, so submitting
 * needs no memory. */
#include "app/service/read_pool.h"

#include <pthread.h>
#include <stdlib.h>

struct worker {
    struct read_pool *pool;
    struct pg *pg;
    pthread_t thread;
};

struct read_pool {
    pthread_mutex_t lock;
    pthread_cond_t wake; /* a job waits, or the pool stops */
    struct read_job *first, *last;
    size_t waiting, running, queue_max;
    bool stopping;
    size_t worker_count; /* threads that were started */
    struct worker workers[];
};

/* Blocks until there is a job; NULL: the pool stops and the queue is empty. */
static struct read_job *take(struct read_pool *pool)
{
    pthread_mutex_lock(&pool->lock);
    while (pool->first == NULL && !pool->stopping)
        pthread_cond_wait(&pool->wake, &pool->lock);
    struct read_job *job = pool->first;
    if (job != NULL) {
        pool->first = job->next;
        pool->waiting--;
        pool->running++;
    }
    pthread_mutex_unlock(&pool->lock);
    return job;
}

static void done(struct read_pool *pool)
{
    pthread_mutex_lock(&pool->lock);
    pool->running--;
    pthread_mutex_unlock(&pool->lock);
}

static void *work(void *argument)
{
    struct worker *worker = argument;
    for (struct read_job *job; (job = take(worker->pool)) != NULL; done(worker->pool))
        job->run(job, worker->pg);
    return NULL;
}

void read_pool_count(struct read_pool *pool, size_t *waiting, size_t *running)
{
    pthread_mutex_lock(&pool->lock);
    *waiting = pool->waiting;
    *running = pool->running;
    pthread_mutex_unlock(&pool->lock);
}

static bool start_worker(struct worker *worker, const char *dsn, const struct pg_bounds *bounds)
{
    worker->pg = pg_new(dsn, bounds);
    if (worker->pg == NULL)
        return false;
    if (pthread_create(&worker->thread, NULL, work, worker) == 0)
        return true;
    pg_free(worker->pg);
    return false;
}

struct read_pool *read_pool_start(const char *dsn, const struct pg_bounds *bounds, size_t workers,
                                  size_t queue_max)
{
    struct read_pool *pool = calloc(1, sizeof *pool + workers * sizeof pool->workers[0]);
    if (pool == NULL)
        return NULL;
    pthread_mutex_init(&pool->lock, NULL);
    pthread_cond_init(&pool->wake, NULL);
    pool->queue_max = queue_max;
    for (; pool->worker_count < workers; pool->worker_count++) {
        struct worker *worker = &pool->workers[pool->worker_count];
        worker->pool = pool;
        if (!start_worker(worker, dsn, bounds)) {
            read_pool_stop(pool);
            return NULL;
        }
    }
    return pool;
}

void read_pool_stop(struct read_pool *pool)
{
    if (pool == NULL)
        return;
    pthread_mutex_lock(&pool->lock);
    pool->stopping = true;
    pthread_cond_broadcast(&pool->wake);
    pthread_mutex_unlock(&pool->lock);
    for (size_t i = 0; i < pool->worker_count; i++) {
        pthread_join(pool->workers[i].thread, NULL);
        pg_free(pool->workers[i].pg);
    }
    pthread_cond_destroy(&pool->wake);
    pthread_mutex_destroy(&pool->lock);
    free(pool);
}

bool read_pool_submit(struct read_pool *pool, struct read_job *job)
{
    pthread_mutex_lock(&pool->lock);
    bool taken = !pool->stopping && pool->waiting < pool->queue_max;
    if (taken) {
        job->next = NULL;
        if (pool->first == NULL)
            pool->first = job;
        else
            pool->last->next = job;
        pool->last = job;
        pool->waiting++;
        pthread_cond_signal(&pool->wake);
    }
    pthread_mutex_unlock(&pool->lock);
    return taken;
}
