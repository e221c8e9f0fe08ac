/* SPDX-License-Identifier: ISC */
/* The file is a ring of `maximum` bytes. Positions count the bytes of the answer. `origin` is the position
 * where the ring begins, and moves up each time the reader has caught up, so the file is never longer than
 * the reader has been behind.
 *
 * The lock protects only the positions. Both threads read and write the bytes outside the lock: the writer
 * does not touch the bytes between `read` and `written`, and the reader does not touch the bytes beyond
 * `written`. */
#include "http/server/long_answer.h"

#include "http/request/spool.h"

#include <errno.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct long_answer {
    struct long_answer_reader reader;
    uint64_t maximum;
    int file;
    const char *fault; /* the writer's */

    pthread_mutex_t lock; /* protects all the members below */
    uint64_t origin, written, read;
    bool ended, complete; /* set by the writer */
    bool waiting, left;   /* set by the reader */
};

struct long_answer *long_answer_new(const char *folder, uint64_t maximum, struct long_answer_reader reader)
{
    struct long_answer *answer = calloc(1, sizeof *answer);
    if (answer == NULL)
        return NULL;
    answer->reader = reader;
    answer->maximum = maximum;
    answer->file = spool_file(folder);
    if (answer->file < 0)
        answer->fault = "the spool's file can't be made";
    pthread_mutex_init(&answer->lock, NULL);
    return answer;
}

void long_answer_free(struct long_answer *answer)
{
    if (answer == NULL)
        return;
    if (answer->file >= 0)
        close(answer->file);
    pthread_mutex_destroy(&answer->lock);
    free(answer);
}

const char *long_answer_fault(const struct long_answer *answer)
{
    return answer->fault;
}

uint64_t long_answer_length(const struct long_answer *answer)
{
    return answer->written; /* only the writer changes it */
}

/* The place of bytes in the file: `unbroken` of them up to its end, and the rest from its beginning on. */
struct run {
    uint64_t offset;
    size_t unbroken;
};

/* The caller holds the lock. */
static struct run run_at(const struct long_answer *answer, uint64_t position, size_t length)
{
    uint64_t offset = (position - answer->origin) % answer->maximum;
    uint64_t to_end = answer->maximum - offset;
    return (struct run){offset, length < to_end ? length : (size_t)to_end};
}

static bool write_at(int file, const char *bytes, size_t length, uint64_t offset)
{
    while (length > 0) {
        ssize_t written = pwrite(file, bytes, length, (off_t)offset);
        if (written < 0 && errno == EINTR)
            continue;
        if (written <= 0)
            return false;
        bytes += written;
        length -= (size_t)written;
        offset += (uint64_t)written;
    }
    return true;
}

/* Makes room for the next bytes. False: there is no room, or the reader has left. */
static bool reserve(struct long_answer *answer, size_t length, struct run *run)
{
    pthread_mutex_lock(&answer->lock);
    if (answer->read == answer->written)
        answer->origin = answer->written;
    if (answer->left)
        answer->fault = "the client has gone";
    else if (length > answer->maximum - (answer->written - answer->read))
        answer->fault = "the client is further behind than spool_megabytes";
    else
        *run = run_at(answer, answer->written, length);
    pthread_mutex_unlock(&answer->lock);
    return answer->fault == NULL;
}

/* Whether the reader must be woken. The caller holds the lock. */
static bool stop_waiting(struct long_answer *answer)
{
    bool waiting = answer->waiting;
    answer->waiting = false;
    return waiting;
}

bool long_answer_add(struct long_answer *answer, const char *bytes, size_t length)
{
    struct run run = {0};
    if (answer->fault != NULL || !reserve(answer, length, &run))
        return false;
    if (!write_at(answer->file, bytes, run.unbroken, run.offset) ||
        !write_at(answer->file, bytes + run.unbroken, length - run.unbroken, 0)) {
        answer->fault = "the spool's file can't be written";
        return false;
    }
    pthread_mutex_lock(&answer->lock);
    answer->written += length;
    bool wake = stop_waiting(answer);
    pthread_mutex_unlock(&answer->lock);
    if (wake)
        answer->reader.wake(answer->reader.owner);
    return true;
}

bool long_answer_is_wanted(struct long_answer *answer)
{
    pthread_mutex_lock(&answer->lock);
    bool wanted = !answer->left;
    pthread_mutex_unlock(&answer->lock);
    return wanted;
}

/* A reader that waits cannot go away under the lock, because only the writer wakes it. */
bool long_answer_look(struct long_answer *answer)
{
    pthread_mutex_lock(&answer->lock);
    bool wanted = !answer->left && (!answer->waiting || answer->reader.is_there(answer->reader.owner));
    pthread_mutex_unlock(&answer->lock);
    return wanted;
}

bool long_answer_end(struct long_answer *answer, bool complete)
{
    struct long_answer_reader reader = answer->reader; /* a copy: after the unlock, `answer` may be freed */
    pthread_mutex_lock(&answer->lock);
    answer->ended = true;
    answer->complete = complete;
    bool wake = stop_waiting(answer), left = answer->left;
    pthread_mutex_unlock(&answer->lock);
    if (wake)
        reader.wake(reader.owner);
    return !left;
}

/* Called when nothing is left to read. The caller holds the lock. */
static ssize_t at_end(struct long_answer *answer)
{
    if (answer->ended)
        return answer->complete ? LONG_ANSWER_COMPLETE : LONG_ANSWER_BROKEN;
    /* Begin the wait under the lock, or the writer might wake the reader before it waits. */
    answer->waiting = answer->reader.wait(answer->reader.owner);
    return answer->waiting ? 0 : LONG_ANSWER_BROKEN;
}

ssize_t long_answer_read(struct long_answer *answer, char *bytes, size_t most)
{
    struct run run = {0};
    ssize_t got = 0;
    pthread_mutex_lock(&answer->lock);
    uint64_t ready = answer->written - answer->read;
    if (ready > 0)
        run = run_at(answer, answer->read, ready < most ? (size_t)ready : most);
    else
        got = at_end(answer);
    pthread_mutex_unlock(&answer->lock);
    if (ready == 0)
        return got;

    do
        got = pread(answer->file, bytes, run.unbroken, (off_t)run.offset);
    while (got < 0 && errno == EINTR);
    if (got <= 0)
        return LONG_ANSWER_BROKEN;
    pthread_mutex_lock(&answer->lock);
    answer->read += (uint64_t)got;
    pthread_mutex_unlock(&answer->lock);
    return got;
}

bool long_answer_leave(struct long_answer *answer)
{
    pthread_mutex_lock(&answer->lock);
    answer->left = true;
    bool ended = answer->ended;
    pthread_mutex_unlock(&answer->lock);
    return ended;
}
