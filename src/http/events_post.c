/* SPDX-License-Identifier: ISC */
/* One event is answered as a resource would be: 201, 200, or its own problem. Many are answered 200, each by
 * a line of its own, since each stands alone. */
#include "http/events_post.h"

#include "http/event_body.h"
#include "http/json_text.h"
#include "http/problem.h"

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

/* Reads all, in order; returns how many are fit to be posted. */
static size_t read_events(const json_t *json, struct event *events, struct uuid *ids, bool *id_known,
                          const struct intake_job *job)
{
    struct buffer scratch;
    size_t fit = 0;
    buffer_init(&scratch, EVENT_TEXT_MAX);
    for (size_t i = 0; i < job->count; i++) {
        const json_t *one = json_is_array(json) ? json_array_get(json, i) : json;
        struct event_result *result = &job->results[i];
        faults_init(&result->faults, job->arena);
        id_known[i] = event_body_id(one, &ids[i]);
        if (event_body_read(one, &events[i], &scratch, &result->faults))
            fit++;
        else
            result->status = EVENT_REJECTED;
    }
    buffer_dispose(&scratch);
    return fit;
}

bool posting_read(struct posting *posting, const struct request *request, struct answer *answer)
{
    const json_t *json = request->json;
    if (!check_count(json, answer))
        return false;
    size_t count = json_is_array(json) ? json_array_size(json) : 1;
    struct event *events = arena_array(request->arena, count, sizeof *events);
    struct event_result *results = arena_array(request->arena, count, sizeof *results);
    struct uuid *ids = arena_array(request->arena, count, sizeof *ids);
    bool *id_known = arena_array(request->arena, count, sizeof *id_known);
    if (events == NULL || results == NULL || ids == NULL || id_known == NULL)
        return refuse_memory(answer);

    *posting = (struct posting){
        .many = json_is_array(json),
        .ids = ids,
        .id_known = id_known,
        .job = {.arena = request->arena,
                .key = request->identity->key,
                .dry_run = request->dry_run,
                .events = events,
                .results = results,
                .count = count},
    };
    if (read_events(json, events, ids, id_known, &posting->job) > 0)
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
    member_string(body, "status", result->status == EVENT_DUPLICATE ? "duplicate" : "recorded");
    member_integer(body, "entry", result->entry);
    member_string(body, "business_date", date);
    member_boolean(body, "late", result->late);
    member_begin(body, "exceptions");
    buffer_add_char(body, '[');
    for (size_t i = 0; i < result->exception_count; i++)
        add_exception(body, result, i);
    buffer_add_char(body, ']');
}

/* The object of one event, still open. */
static void add_result(struct buffer *body, const struct posting *posting, size_t i)
{
    const struct event_result *result = &posting->job.results[i];
    char id[UUID_TEXT_MAX];
    buffer_add_char(body, '{');
    if (posting->id_known[i]) {
        uuid_format(&posting->ids[i], id);
        member_string(body, "event_id", id);
    }
    if (result->status != EVENT_REJECTED) {
        add_outcome(body, result);
        return;
    }
    member_string(body, "status", "rejected");
    member_begin(body, "problem");
    problem_write(&result->faults, body);
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
    answer->status = result->status == EVENT_RECORDED && !posting->job.dry_run ? 201 : 200;
    add_result(&answer->body, posting, 0);
    end_body(&answer->body, posting->job.dry_run);
}

static int count_status(const struct intake_job *job, enum event_status status)
{
    int count = 0;
    for (size_t i = 0; i < job->count; i++)
        count += job->results[i].status == status;
    return count;
}

static void answer_many(const struct posting *posting, struct answer *answer)
{
    struct buffer *body = &answer->body;
    buffer_add_char(body, '{');
    member_integer(body, "recorded", count_status(&posting->job, EVENT_RECORDED));
    member_integer(body, "duplicate", count_status(&posting->job, EVENT_DUPLICATE));
    member_integer(body, "rejected", count_status(&posting->job, EVENT_REJECTED));
    member_begin(body, "results");
    buffer_add_char(body, '[');
    for (size_t i = 0; i < posting->job.count; i++) {
        element_begin(body);
        add_result(body, posting, i);
        buffer_add_char(body, '}');
    }
    buffer_add_char(body, ']');
    end_body(body, posting->job.dry_run);
}

void posting_answer(const struct posting *posting, struct answer *answer)
{
    enum reason failure = posting->job.failure;
    if (failure != REASON_NONE)
        faults_add(&answer->faults, failure, NULL, "%s", reason_info(failure)->title);
    else if (posting->many)
        answer_many(posting, answer);
    else
        answer_one(posting, answer);
}
