/* SPDX-License-Identifier: ISC */
/* Events that a key has proposed, journals and openings: their lists, and the decision of another key. */
#include "http/resources/handlers.h"

#include "app/office/proposed_events.h"
#include "http/request/route.h"
#include "http/request/slice.h"
#include "http/resources/payment_shapes.h"
#include "http/resources/proposing.h"

#include <string.h>

static void list(const struct request *request, struct answer *answer, enum proposed_family family)
{
    struct list_slice slice;
    struct proposed_filter filter;
    bool is_mine;
    const struct scheme *scheme = request_scheme(request, answer, request_query(request, "scheme"));
    if (scheme == NULL ||
        !proposed_asked(request, answer, "is no status of a proposed event", &is_mine, &filter) ||
        !slice_begin(request, answer, &slice))
        return;
    enum store_result result = read_proposed_list(request->pg, scheme->id, family, &filter, &slice);
    slice_end(request, answer, result, &slice);
}

void handle_journals_list(const struct request *request, struct answer *answer)
{
    list(request, answer, PROPOSED_JOURNALS);
}

void handle_openings_list(const struct request *request, struct answer *answer)
{
    list(request, answer, PROPOSED_OPENINGS);
}

struct deciding {
    const struct request *request;
    struct answer *answer;
    struct proposed_name name;
    bool approves;
    struct stated_reason stated;
};

static enum store_result decide_under_head(void *context, struct head_work *work, struct faults *faults)
{
    const struct deciding *deciding = context;
    return deciding->approves ? proposed_approve(work, &deciding->name, faults)
                              : proposed_withdraw(work, &deciding->name, deciding->stated.reason, faults);
}

static enum store_result view(void *context, struct pg *pg)
{
    const struct deciding *deciding = context;
    bool found;
    buffer_reset(&deciding->answer->body);
    enum store_result result = read_proposed(pg, &deciding->name, &deciding->answer->body, &found);
    if (result == STORE_OK && !found)
        return STORE_FAILED;
    if (result == STORE_OK && deciding->request->dry_run)
        answer_mark_dry_run(deciding->answer);
    return result;
}

/* Finds the scheme of the id or of ?scheme=. False: a fault has been added. */
static bool find_scheme(struct deciding *deciding)
{
    const struct request *request = deciding->request;
    struct answer *answer = deciding->answer;
    const char *code = request_query(request, "scheme");
    const struct scheme *scheme = code != NULL ? request_scheme(request, answer, code) : NULL;
    int32_t *schemes;
    size_t count;
    if (code != NULL) {
        deciding->name.scheme = scheme != NULL ? scheme->id : 0;
        return scheme != NULL;
    }
    enum store_result result = store_proposal_schemes(request->pg, request->arena, deciding->name.family,
                                                      &deciding->name.id, &schemes, &count);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (count == 0)
        answer_not_found(answer);
    else if (count > 1)
        faults_add_parameter(&answer->faults, REASON_PARAMETER_MISSING, "scheme",
                             "several schemes have a proposed event with this id");
    else
        deciding->name.scheme = schemes[0];
    return answer->faults.count == 0;
}

/* Finds the event of the path. False: a fault has been added. */
static bool find_name(struct deciding *deciding)
{
    const char *id = deciding->request->parts[0];
    if (uuid_parse(id, strlen(id), &deciding->name.id))
        return find_scheme(deciding);
    answer_not_found(deciding->answer);
    return false;
}

static void decide(const struct request *request, struct answer *answer, enum proposed_family family,
                   bool approves)
{
    struct deciding deciding = {
        .request = request, .answer = answer, .name = {.family = family}, .approves = approves};
    if (!find_name(&deciding))
        return;
    if (request->json != NULL &&
        !shape_decode(request->route->body, request->json, "", NULL, &deciding.stated, &answer->faults))
        return;
    const struct head_order order = {
        .scheme = deciding.name.scheme,
        .key = request->identity->key,
        .dry_run = request->dry_run,
        .posts_now = true,
        .decides_opening = family == PROPOSED_OPENINGS,
        .work = decide_under_head,
        .view = view,
        .context = &deciding,
    };
    enum store_result result =
        head_work_run(request->pg, request->service->snapshots, &order, &answer->faults);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
}

void handle_journal_approve(const struct request *request, struct answer *answer)
{
    decide(request, answer, PROPOSED_JOURNALS, true);
}

void handle_journal_withdraw(const struct request *request, struct answer *answer)
{
    decide(request, answer, PROPOSED_JOURNALS, false);
}

void handle_opening_approve(const struct request *request, struct answer *answer)
{
    decide(request, answer, PROPOSED_OPENINGS, true);
}

void handle_opening_withdraw(const struct request *request, struct answer *answer)
{
    decide(request, answer, PROPOSED_OPENINGS, false);
}

static void get(const struct request *request, struct answer *answer, enum proposed_family family)
{
    struct deciding reading = {.request = request, .answer = answer, .name = {.family = family}};
    bool found;
    if (!find_name(&reading))
        return;
    enum store_result result = read_proposed(request->pg, &reading.name, &answer->body, &found);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (!found)
        answer_not_found(answer);
}

void handle_journal_get(const struct request *request, struct answer *answer)
{
    get(request, answer, PROPOSED_JOURNALS);
}

void handle_opening_get(const struct request *request, struct answer *answer)
{
    get(request, answer, PROPOSED_OPENINGS);
}
