/* SPDX-License-Identifier: ISC */
/* Journals that a key has proposed: their list, and the decision of another key. */
#include "http/resources/handlers.h"

#include "app/office/journals.h"
#include "http/request/route.h"
#include "http/request/slice.h"
#include "http/resources/payment_shapes.h"
#include "http/resources/proposing.h"
#include "store/journal_store.h"

#include <string.h>

void handle_journals_list(const struct request *request, struct answer *answer)
{
    struct list_slice slice;
    const struct scheme *scheme = request_scheme(request, answer, request_query(request, "scheme"));
    if (scheme == NULL)
        return;
    const char *status = proposal_status_asked(request, answer, "is no status of a journal");
    if (status == NULL || !slice_begin(request, answer, &slice))
        return;
    enum store_result result = read_journals(request->pg, scheme->id, status, &slice);
    slice_end(request, answer, result, &slice);
}

struct deciding {
    const struct request *request;
    struct answer *answer;
    struct uuid id;
    int32_t scheme;
    bool approves;
    struct stated_reason stated;
};

static enum store_result decide_under_head(void *context, struct head_work *work, struct faults *faults)
{
    const struct deciding *deciding = context;
    return deciding->approves ? journal_approve(work, &deciding->id, faults)
                              : journal_withdraw(work, &deciding->id, deciding->stated.reason, faults);
}

static enum store_result view(void *context, struct pg *pg)
{
    const struct deciding *deciding = context;
    bool found;
    buffer_reset(&deciding->answer->body);
    enum store_result result =
        read_journal(pg, deciding->scheme, &deciding->id, &deciding->answer->body, &found);
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
        deciding->scheme = scheme != NULL ? scheme->id : 0;
        return scheme != NULL;
    }
    enum store_result result =
        store_proposal_schemes(request->pg, request->arena, &deciding->id, &schemes, &count);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (count == 0)
        answer_not_found(answer);
    else if (count > 1)
        faults_add_parameter(&answer->faults, REASON_PARAMETER_MISSING, "scheme",
                             "several schemes have a journal with this id");
    else
        deciding->scheme = schemes[0];
    return answer->faults.count == 0;
}

static void decide(const struct request *request, struct answer *answer, bool approves)
{
    struct deciding deciding = {.request = request, .answer = answer, .approves = approves};
    if (!uuid_parse(request->parts[0], strlen(request->parts[0]), &deciding.id)) {
        answer_not_found(answer);
        return;
    }
    if (!find_scheme(&deciding))
        return;
    if (request->json != NULL &&
        !shape_decode(request->route->body, request->json, "", NULL, &deciding.stated, &answer->faults))
        return;
    const struct head_order order = {
        .scheme = deciding.scheme,
        .key = request->identity->key,
        .dry_run = request->dry_run,
        .posts_now = true,
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
    decide(request, answer, true);
}

void handle_journal_withdraw(const struct request *request, struct answer *answer)
{
    decide(request, answer, false);
}
