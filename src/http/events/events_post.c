/* SPDX-License-Identifier: ISC */
/* A single event is answered like a resource: 201, 200, or its own problem. Several events are answered 200,
 * with a line for each event, because each is posted or refused by itself. */
#include "http/events/events_post.h"

#include "http/events/event_body.h"
#include "http/request/json_body.h"
#include "http/request/json_text.h"
#include "http/request/meters.h"
#include "http/request/problem.h"

enum { EVENTS_MAX = 1000 };

static bool refuse_memory(struct answer *answer)
{
    faults_add(&answer->faults, REASON_OVERLOADED, NULL, "out of memory");
    return false;
}

static bool check_count(const json_t *json, struct answer *answer)
{
    size_t count = json_array_size(json);
    if (!json_is_array(json) || (count >= 1 && count <= EVENTS_MAX))
        return true;
    faults_add(&answer->faults, count == 0 ? REASON_TOO_FEW : REASON_TOO_MANY, "",
               "the number of events must be 1 to %d", EVENTS_MAX);
    return false;
}

bool posting_init(struct posting *posting, struct arena *arena, const struct request *request,
                  size_t capacity)
{
    *posting = (struct posting){
        .job = {.arena = arena, .key = request->identity->key, .dry_run = request->dry_run},
        .events = arena_array(arena, capacity, sizeof *posting->events),
        .results = arena_array(arena, capacity, sizeof *posting->results),
        .ids = arena_array(arena, capacity, sizeof *posting->ids),
        .id_known = arena_array(arena, capacity, sizeof *posting->id_known),
        .meters = request->meters,
    };
    posting->job.events = posting->events;
    posting->job.results = posting->results;
    return posting->events != NULL && posting->results != NULL && posting->ids != NULL &&
           posting->id_known != NULL;
}

/* JSON that could not be parsed already has its fault. Returns whether the event is fit to be posted. */
static bool add_event(struct posting *posting, const json_t *json, struct buffer *scratch)
{
    size_t i = posting->job.count++;
    struct event_result *result = &posting->results[i];
    posting->id_known[i] = json != NULL && event_body_id(json, &posting->ids[i]);
    bool fit = json != NULL && event_body_read(json, &posting->events[i], scratch, &result->faults);
    if (!fit) {
        result->status = EVENT_REJECTED;
        meters_count_refused_event(posting->meters);
    }
    return fit;
}

static struct faults *next_faults(struct posting *posting)
{
    struct faults *faults = &posting->results[posting->job.count].faults;
    faults_init(faults, posting->job.arena);
    return faults;
}

void posting_add_line(struct posting *posting, const char *line, size_t length, struct buffer *scratch)
{
    json_t *json = json_body_parse(line, length, next_faults(posting));
    (void)add_event(posting, json, scratch);
    json_decref(json);
}

void posting_add_too_long(struct posting *posting)
{
    faults_add(next_faults(posting), REASON_BODY_TOO_LARGE, "", "the line is too long for an event");
    (void)add_event(posting, NULL, NULL);
}

bool posting_read(struct posting *posting, const struct request *request, struct answer *answer)
{
    const json_t *json = request->json;
    if (!check_count(json, answer))
        return false;
    size_t count = json_is_array(json) ? json_array_size(json) : 1, fit = 0;
    if (!posting_init(posting, request->arena, request, count))
        return refuse_memory(answer);
    struct buffer scratch;
    buffer_init(&scratch, EVENT_TEXT_MAX);
    posting->many = json_is_array(json);
    for (size_t i = 0; i < count; i++) {
        (void)next_faults(posting);
        fit += add_event(posting, posting->many ? json_array_get(json, i) : json, &scratch);
    }
    buffer_dispose(&scratch);
    if (fit > 0)
        return true;
    posting_answer(posting, answer);
    return false;
}

static void add_exception(struct buffer *body, const struct event_result *result, size_t i)
{
    const struct exception *exception = &result->exceptions[i];
    char amount[MONEY_TEXT_MAX];
    element_begin(body);
    buffer_add_char(body, '{');
    member_string(body, "exception", exception_word(exception->kind));
    if (result->exception_cup_types[i] != NULL)
        member_string(body, "cup_type", result->exception_cup_types[i]);
    if (exception->has_quantity)
        member_integer(body, "quantity", exception->quantity);
    if (exception->has_amount) {
        money_format(exception->amount, result->decimals, amount);
        member_string(body, "amount", amount);
    }
    buffer_add_char(body, '}');
}

static void add_outcome(struct buffer *body, const struct event_result *result)
{
    char date[DATE_TEXT_MAX];
    date_format(result->business_date, date);
    member_integer(body, "entry", result->entry);
    member_string(body, "business_date", date);
    member_boolean(body, "late", result->late);
    member_begin(body, "exceptions");
    buffer_add_char(body, '[');
    for (size_t i = 0; i < result->exception_count; i++)
        add_exception(body, result, i);
    buffer_add_char(body, ']');
}

/* Adds the object of an event, without its closing brace. */
static void add_result(struct buffer *body, const struct posting *posting, size_t i)
{
    const struct event_result *result = &posting->job.results[i];
    char id[UUID_TEXT_MAX];
    buffer_add_char(body, '{');
    if (posting->id_known[i]) {
        uuid_format(&posting->ids[i], id);
        member_string(body, "event_id", id);
    }
    member_string(body, "status", event_status_word(result->status));
    switch (result->status) {
    case EVENT_RECORDED:
    case EVENT_DUPLICATE:
        add_outcome(body, result);
        break;
    case EVENT_REJECTED:
        member_begin(body, "problem");
        problem_write(&result->faults, body);
        break;
    case EVENT_PROPOSED:
        if (result->balance_sheet != NULL) {
            member_begin(body, "balance_sheet");
            buffer_add_text(body, result->balance_sheet);
        }
        break;
    case EVENT_STATUSES:
        break;
    }
}

/* Closes the answer. */
static void end_body(struct buffer *body, bool dry_run)
{
    if (dry_run)
        member_boolean(body, "dry_run", true);
    buffer_add_char(body, '}');
}

static void answer_one(const struct posting *posting, struct answer *answer)
{
    const struct event_result *result = &posting->job.results[0];
    if (result->status == EVENT_REJECTED) {
        answer->faults = result->faults;
        return;
    }
    static const int statuses[EVENT_STATUSES] = {
        [EVENT_RECORDED] = 201, [EVENT_DUPLICATE] = 200, [EVENT_PROPOSED] = 202};
    answer->status = posting->job.dry_run ? 200 : statuses[result->status];
    add_result(&answer->body, posting, 0);
    end_body(&answer->body, posting->job.dry_run);
}

void posting_write_result(const struct posting *posting, size_t i, struct buffer *body)
{
    add_result(body, posting, i);
    buffer_add_char(body, '}');
}

void posting_write_counts(const int64_t counts[static EVENT_STATUSES], struct buffer *body)
{
    member_integer(body, "recorded", counts[EVENT_RECORDED]);
    member_integer(body, "duplicate", counts[EVENT_DUPLICATE]);
    if (counts[EVENT_PROPOSED] > 0) /* few clients post events of two people */
        member_integer(body, "proposed", counts[EVENT_PROPOSED]);
    member_integer(body, "rejected", counts[EVENT_REJECTED]);
}

static void answer_many(const struct posting *posting, struct answer *answer)
{
    struct buffer *body = &answer->body;
    buffer_add_char(body, '{');
    int64_t counts[EVENT_STATUSES] = {0};
    for (size_t i = 0; i < posting->job.count; i++)
        counts[posting->job.results[i].status]++;
    posting_write_counts(counts, body);
    member_begin(body, "results");
    buffer_add_char(body, '[');
    for (size_t i = 0; i < posting->job.count; i++) {
        element_begin(body);
        posting_write_result(posting, i, body);
    }
    buffer_add_char(body, ']');
    end_body(body, posting->job.dry_run);
}

void posting_answer(const struct posting *posting, struct answer *answer)
{
    enum reason failure = posting->job.failure;
    if (failure != REASON_NONE)
        faults_refuse(&answer->faults, failure);
    else if (posting->many)
        answer_many(posting, answer);
    else
        answer_one(posting, answer);
}
