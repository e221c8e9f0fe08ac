/* SPDX-License-Identifier: ISC */
/* The server's thread may not block, so it hands the exchange over and goes on. A read worker may block. It
 * waits here, as it waits for the database elsewhere, and the request stays in its hands. */
#include "http/events/events_run.h"

#include "app/posting/groups.h"
#include "http/events/events_post.h"

#include <pthread.h>

struct wait {
    pthread_mutex_t lock;
    pthread_cond_t over;
    bool done;
};

/* Runs on the writer's thread. The worker may go on, and end the wait, as soon as the lock is free. */
static void end_wait(struct intake_job *job)
{
    struct wait *wait = job->owner;
    pthread_mutex_lock(&wait->lock);
    wait->done = true;
    pthread_cond_signal(&wait->over);
    pthread_mutex_unlock(&wait->lock);
}

static void wait_for_writer(struct wait *wait)
{
    pthread_mutex_lock(&wait->lock);
    while (!wait->done)
        pthread_cond_wait(&wait->over, &wait->lock);
    pthread_mutex_unlock(&wait->lock);
}

void events_run(const struct request *request, struct answer *answer)
{
    struct posting posting;
    struct wait wait = {PTHREAD_MUTEX_INITIALIZER, PTHREAD_COND_INITIALIZER, false};
    if (!posting_read(&posting, request, answer))
        return;
    posting.job.owner = &wait;
    posting.job.done = end_wait;
    if (groups_submit(request->service->groups, &posting.job)) {
        wait_for_writer(&wait);
        posting_answer(&posting, answer);
    } else {
        faults_refuse(&answer->faults, REASON_OVERLOADED);
    }
    pthread_cond_destroy(&wait.over);
    pthread_mutex_destroy(&wait.lock);
}
