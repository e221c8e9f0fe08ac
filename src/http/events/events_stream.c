/* SPDX-License-Identifier: ISC */
/* Two lots take turns: the server fills a lot while the writer posts the other. A lot goes to the writer as
 * soon as the writer has none of the stream's lots, even if it is not full, so a slow client's events are not
 * held back. */
#include "http/events/events_stream.h"

#include "base/memory.h"
#include "http/events/event_body.h"
#include "http/events/events_post.h"
#include "http/request/json_text.h"
#include "http/request/spool.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

enum { LOT_EVENTS = 500, LINE_MAX_BYTES = 65536 };

enum lot_state {
    LOT_FILLING, /* belongs to the server */
    LOT_READY,   /* free for either thread: the server takes it back to add to it, or the writer takes it when
                    it is done with the other lot */
    LOT_POSTING, /* belongs to the writer */
    LOT_POSTED   /* belongs to the server, with its results */
};

struct lot {
    struct events_stream *stream;
    struct arena arena;
    struct posting posting;
    enum lot_state state; /* under the stream's lock */
};

struct events_stream {
    const struct request *request;
    struct groups *groups;
    void (*wake)(void *owner);
    void *owner;
    struct buffer line;    /* the beginning of a line whose rest is still to come */
    struct buffer scratch; /* for reading events */
    struct spool answer;   /* the lines */
    int64_t counts[EVENT_STATUSES];
    enum reason failure; /* why nothing more is posted */
    enum reason cut;     /* why the body ended early */
    struct lot lots[2];
    struct lot *filling; /* the server's thread gives it lines */

    pthread_mutex_t lock;
    bool waiting, abandoned; /* protected by the lock */
};

static void destroy(struct events_stream *stream)
{
    for (size_t i = 0; i < 2; i++)
        arena_dispose(&stream->lots[i].arena);
    buffer_dispose(&stream->line);
    buffer_dispose(&stream->scratch);
    spool_dispose(&stream->answer);
    pthread_mutex_destroy(&stream->lock);
    free(stream);
}

/* Empties a lot for the next events. False: out of memory. */
static bool begin_lot(struct events_stream *stream, struct lot *lot)
{
    arena_reset(&lot->arena);
    bool fit = posting_init(&lot->posting, &lot->arena, stream->request, LOT_EVENTS);
    pthread_mutex_lock(&stream->lock);
    lot->state = LOT_FILLING;
    pthread_mutex_unlock(&stream->lock);
    return fit;
}

static void lot_posted(struct intake_job *job);

/* The caller holds the lock. The queue's own bound does not apply to streams, because the number of streams
 * bounds the jobs that they have in the queue. */
static void submit(struct events_stream *stream, struct lot *lot)
{
    lot->state = LOT_POSTING;
    lot->posting.job.owner = lot;
    lot->posting.job.done = lot_posted;
    lot->posting.job.beyond_bound = true;
    if (groups_submit(stream->groups, &lot->posting.job))
        return;
    lot->posting.job.failure = REASON_OVERLOADED;
    lot->state = LOT_POSTED;
}

/* The caller holds the lock. */
static bool any_is(const struct events_stream *stream, enum lot_state state)
{
    return stream->lots[0].state == state || stream->lots[1].state == state;
}

static struct lot *other_lot(struct events_stream *stream, const struct lot *lot)
{
    return &stream->lots[lot == &stream->lots[0]];
}

/* Runs on the writer's thread. */
static void lot_posted(struct intake_job *job)
{
    struct lot *lot = job->owner;
    struct events_stream *stream = lot->stream;
    struct lot *other = other_lot(stream, lot);
    pthread_mutex_lock(&stream->lock);
    lot->state = LOT_POSTED;
    if (other->state == LOT_READY && job->failure == REASON_NONE && !stream->abandoned)
        submit(stream, other);
    bool last = stream->abandoned, wake = stream->waiting;
    stream->waiting = false;
    pthread_mutex_unlock(&stream->lock);
    if (last)
        destroy(stream);
    else if (wake)
        stream->wake(stream->owner);
}

struct events_stream *events_stream_new(const struct request *request, void (*wake)(void *owner), void *owner)
{
    struct events_stream *stream = calloc(1, sizeof *stream);
    if (stream == NULL)
        return NULL;
    stream->request = request;
    stream->groups = request->service->groups;
    stream->wake = wake;
    stream->owner = owner;
    pthread_mutex_init(&stream->lock, NULL);
    buffer_init(&stream->line, LINE_MAX_BYTES);
    buffer_init(&stream->scratch, EVENT_TEXT_MAX);
    spool_init(&stream->answer, request->service->config->spool_folder,
               (uint64_t)request->service->config->spool_megabytes << 20);
    stream->filling = &stream->lots[0];
    bool fit = true;
    for (size_t i = 0; i < 2; i++) {
        stream->lots[i].stream = stream;
        arena_init(&stream->lots[i].arena, 0);
        fit = fit && begin_lot(stream, &stream->lots[i]);
    }
    if (fit)
        return stream;
    destroy(stream);
    return NULL;
}

void events_stream_free(struct events_stream *stream)
{
    if (stream == NULL)
        return;
    pthread_mutex_lock(&stream->lock);
    stream->abandoned = any_is(stream, LOT_POSTING);
    bool last = !stream->abandoned;
    pthread_mutex_unlock(&stream->lock);
    if (last)
        destroy(stream);
}

/* Puts the results of a lot into the answer. If the lot was not posted, it adds none. */
static void add_results(struct events_stream *stream, const struct posting *posting)
{
    if (stream->failure == REASON_NONE)
        stream->failure = posting->job.failure;
    for (size_t i = 0; i < posting->job.count && stream->failure == REASON_NONE; i++) {
        struct buffer *body = spool_buffer(&stream->answer);
        posting_write_result(posting, i, body);
        buffer_add_char(body, '\n');
        stream->counts[posting->results[i].status]++;
        spool_settle(&stream->answer);
    }
    if (stream->answer.failed && stream->failure == REASON_NONE)
        stream->failure = REASON_OVERLOADED;
}

/* Returns a lot that the writer is done with. The lot that is not being filled comes first, because it went
 * to the writer first. NULL: nothing more for now. Both states are read under the same lock. */
static struct lot *posted_lot(struct events_stream *stream)
{
    pthread_mutex_lock(&stream->lock);
    struct lot *lot = other_lot(stream, stream->filling);
    if (lot->state != LOT_POSTED && lot->state != LOT_POSTING)
        lot = stream->filling;
    if (lot->state != LOT_POSTED)
        lot = NULL;
    pthread_mutex_unlock(&stream->lock);
    return lot;
}

static void collect(struct events_stream *stream)
{
    struct lot *lot;
    while ((lot = posted_lot(stream)) != NULL) {
        add_results(stream, &lot->posting);
        if (!begin_lot(stream, lot))
            stream->failure = REASON_OVERLOADED;
    }
}

/* The lot for the next line, taken back if it was already offered. NULL: there is none until the writer is
 * done with a lot, or until its results are collected. */
static struct lot *lot_to_fill(struct events_stream *stream)
{
    collect(stream);
    if (stream->failure != REASON_NONE)
        return NULL;
    pthread_mutex_lock(&stream->lock);
    struct lot *lot = stream->filling, *other = other_lot(stream, lot);
    if (lot->state == LOT_POSTING && other->state == LOT_FILLING) /* the other may be posted since */
        lot = stream->filling = other;
    bool room = (lot->state == LOT_FILLING || lot->state == LOT_READY) && lot->posting.job.count < LOT_EVENTS;
    if (room)
        lot->state = LOT_FILLING;
    pthread_mutex_unlock(&stream->lock);
    return room ? lot : NULL;
}

/* Gives the filled lot to the writer, which otherwise finds it when it is done with the other lot. */
static void offer(struct events_stream *stream)
{
    pthread_mutex_lock(&stream->lock);
    struct lot *lot = stream->filling;
    bool good = stream->failure == REASON_NONE && stream->cut == REASON_NONE;
    if (good && lot->state == LOT_FILLING && lot->posting.job.count > 0) {
        lot->state = LOT_READY;
        if (!any_is(stream, LOT_POSTING))
            submit(stream, lot);
    }
    pthread_mutex_unlock(&stream->lock);
}

bool events_stream_wait(struct events_stream *stream)
{
    pthread_mutex_lock(&stream->lock);
    stream->waiting = any_is(stream, LOT_POSTING) && !any_is(stream, LOT_POSTED);
    bool waiting = stream->waiting;
    pthread_mutex_unlock(&stream->lock);
    return waiting;
}

static bool is_blank(const char *line, size_t length)
{
    for (size_t i = 0; i < length; i++)
        if (line[i] != ' ' && line[i] != '\t' && line[i] != '\r')
            return false;
    return true;
}

/* A line that does not fit in memory is not too long: the client must post it again. */
static void keep_piece(struct events_stream *stream, const char *data, size_t length)
{
    buffer_add(&stream->line, data, length);
    if (stream->line.failed && memory_has_failed())
        stream->failure = REASON_OVERLOADED;
}

/* Adds a whole line. If the line's beginning came earlier, `data` is its end. */
static void add_line(struct events_stream *stream, struct lot *lot, const char *data, size_t length)
{
    if (stream->line.length > 0 || stream->line.failed) {
        keep_piece(stream, data, length);
        data = stream->line.data;
        length = stream->line.length;
    }
    if (stream->line.failed || length > LINE_MAX_BYTES)
        posting_add_too_long(&lot->posting);
    else if (!is_blank(data, length))
        posting_add_line(&lot->posting, data, length, &stream->scratch);
    buffer_reset(&stream->line);
}

/* Takes a piece that ends a line, or that only begins or continues a line. False: there is no room for it
 * yet. */
static bool take_piece(struct events_stream *stream, const char *data, size_t length, bool ends)
{
    if (!ends) {
        keep_piece(stream, data, length);
        return true;
    }
    struct lot *lot = lot_to_fill(stream);
    if (lot == NULL)
        return stream->failure != REASON_NONE;
    add_line(stream, lot, data, length);
    if (lot->posting.job.count == LOT_EVENTS)
        offer(stream);
    return true;
}

size_t events_stream_take(struct events_stream *stream, const char *data, size_t length)
{
    size_t taken = 0;
    while (taken < length && stream->failure == REASON_NONE) {
        const char *piece = data + taken, *end = memchr(piece, '\n', length - taken);
        size_t piece_length = end != NULL ? (size_t)(end - piece) : length - taken;
        if (!take_piece(stream, piece, piece_length, end != NULL))
            break;
        taken += piece_length + (end != NULL);
    }
    offer(stream);
    return stream->failure == REASON_NONE ? taken : length; /* the rest is read, but thrown away */
}

/* Whether results are still to come, or to be collected. */
static bool is_under_way(struct events_stream *stream)
{
    pthread_mutex_lock(&stream->lock);
    bool under_way = any_is(stream, LOT_POSTING) || any_is(stream, LOT_POSTED);
    pthread_mutex_unlock(&stream->lock);
    return under_way;
}

bool events_stream_end(struct events_stream *stream)
{
    if (stream->failure == REASON_NONE && (stream->line.length > 0 || stream->line.failed) &&
        !take_piece(stream, "", 0, true))
        return false;
    offer(stream);
    collect(stream);
    return !is_under_way(stream);
}

void events_stream_cut(struct events_stream *stream, enum reason reason)
{
    stream->cut = reason;
    buffer_reset(&stream->line);
}

bool events_stream_is_broken(const struct events_stream *stream)
{
    return stream->failure != REASON_NONE;
}

static void add_summary(struct events_stream *stream)
{
    struct buffer *body = spool_buffer(&stream->answer);
    buffer_add_char(body, '{');
    posting_write_counts(stream->counts, body);
    buffer_add_text(body, "}\n");
}

struct MHD_Response *events_stream_response(struct events_stream *stream, struct faults *faults)
{
    bool any = false;
    for (size_t i = 0; i < EVENT_STATUSES; i++)
        any = any || stream->counts[i] > 0;
    enum reason reason = stream->failure != REASON_NONE ? stream->failure : stream->cut;
    if (reason == REASON_NONE)
        add_summary(stream);
    else if (!any) {
        faults_refuse(faults, reason);
        return NULL;
    }
    struct MHD_Response *response = spool_response(&stream->answer);
    if (response == NULL)
        faults_add(faults, REASON_OUTCOME_UNKNOWN, NULL, "the answer could not be kept");
    return response;
}
