/* SPDX-License-Identifier: ISC */
/* Proposals: the list of those that wait for a second person, and that person's decision. */
#include "http/resources/handlers.h"

#include "app/transaction/transaction.h"
#include "http/request/slice.h"
#include "http/resources/payment_shapes.h"
#include "http/resources/proposing.h"

#include <string.h>

void handle_proposals_list(const struct request *request, struct answer *answer)
{
    struct list_slice slice;
    struct proposed_filter filter;
    bool is_mine;
    const char *code = request_query(request, "scheme");
    const struct scheme *scheme = code != NULL ? request_scheme(request, answer, code) : NULL;
    if (code != NULL && scheme == NULL)
        return;
    if (!proposed_asked(request, answer, "is no status of a proposal", &is_mine, &filter) ||
        !slice_begin(request, answer, &slice))
        return;
    enum store_result result = read_writes(request->pg, scheme != NULL ? scheme->id : 0, &filter, &slice);
    slice_end(request, answer, result, &slice);
}

void handle_proposal_get(const struct request *request, struct answer *answer)
{
    bool found = false;
    int64_t number = path_number(request->parts[0]);
    enum store_result result = STORE_OK;
    if (number != 0)
        result = read_write_if_there(request->pg, number, &answer->body, &found);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (!found)
        answer_not_found(answer);
}

/* False: the proposal is not there, or could not be read, and the answer says so. */
static bool find(const struct request *request, struct answer *answer, struct control *control,
                 struct kept_write *kept)
{
    bool found = false;
    enum store_result result = STORE_OK;
    *control = control_of(request, answer, PROPOSAL_REFERENCE, "");
    control->author.proposal = path_number(request->parts[0]);
    if (control->author.proposal != 0)
        result = store_write_find(request->pg, request->arena, control->author.proposal,
                                  request->identity->key, kept, &found);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (!found)
        answer_not_found(answer);
    else
        control->author.why = kept->why;
    return result == STORE_OK && found;
}

static void finish(const struct request *request, struct answer *answer)
{
    if (answer->faults.count == 0 && request->dry_run)
        answer_mark_dry_run(answer);
}

void handle_proposal_approve(const struct request *request, struct answer *answer)
{
    static approver *const approvers[PROPOSAL_WHATS] = {
        [PROPOSAL_REFERENCE] = approve_document,  [PROPOSAL_SCHEME] = approve_put,
        [PROPOSAL_PARTICIPANT] = approve_put,     [PROPOSAL_KEY] = approve_key,
        [PROPOSAL_BANK_LINE] = approve_bank_line, [PROPOSAL_EXCEPTION] = approve_exception,
        [PROPOSAL_MONTH] = approve_month,         [PROPOSAL_AGREEMENT] = approve_put,
    };
    struct control control;
    struct kept_write kept;
    if (!find(request, answer, &control, &kept))
        return;
    control.origins = &request->snapshot->keys.origins;
    json_t *body = json_loads(kept.body, JSON_REJECT_DUPLICATES, NULL);
    if (body != NULL)
        approvers[kept.what](request, answer, &kept, body, &control);
    else
        answer_store_failure(answer, STORE_FAILED);
    json_decref(body);
    finish(request, answer);
}

static enum store_result withdraw(const struct request *request, struct control *control, const char *reason,
                                  struct faults *faults)
{
    int64_t version;
    enum store_result result = pg_begin(request->pg);
    if (result == STORE_OK)
        result = store_reference_lock(request->pg, &control->author, control->now, &version);
    if (result == STORE_OK)
        result = control_withdraw(request->pg, control, reason, faults);
    return transaction_end(request->pg, result, faults, !control->decided && !request->dry_run);
}

void handle_proposal_withdraw(const struct request *request, struct answer *answer)
{
    struct stated_reason stated;
    struct control control;
    struct kept_write kept;
    json_t *body = request_json(request, answer);
    if (body == NULL || !shape_decode(&shape_reason, body, "", NULL, &stated, &answer->faults) ||
        !find(request, answer, &control, &kept))
        return;
    enum store_result result = withdraw(request, &control, stated.reason, &answer->faults);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else
        finish(request, answer);
}
