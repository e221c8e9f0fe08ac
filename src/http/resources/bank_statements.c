/* SPDX-License-Identifier: ISC */
/* Bank statements are taken, and their lines are resolved. */
#include "http/resources/handlers.h"

#include "app/office/bank.h"
#include "http/resources/bank_names.h"
#include "http/resources/bank_shapes.h"
#include "http/resources/proposing.h"

static void finish(const struct request *request, struct answer *answer, enum store_result result)
{
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (answer->faults.count == 0 && request->dry_run)
        answer_mark_dry_run(answer);
}

void handle_bank_statement_post(const struct request *request, struct answer *answer)
{
    struct bank_statement_order order = {
        .scheme = request_scheme(request, answer, request_query(request, "scheme")),
        .key = request->identity->key,
        .dry_run = request->dry_run,
        .text = request->body != NULL ? request->body : "",
        .length = request->body_length,
        .json = &answer->body,
    };
    if (order.scheme != NULL)
        finish(request, answer,
               bank_take_statement(request->pg, request->service->snapshots, &order, &answer->faults));
}

/* The target is a payment, a participant, or an account of the scheme. */
static void check_target(const struct resolve_request *asked, struct faults *faults)
{
    bool for_scheme = asked->has_account && asked->account != RESOLVE_ARREARS;
    if (asked->payment_id != NULL && asked->has_participant)
        faults_add(faults, REASON_MEMBER_UNKNOWN, "/participant", "is not known beside a payment_id");
    bool between = asked->has_account && asked->account == RESOLVE_BETWEEN;
    if (asked->payment_id != NULL && asked->has_account && !between)
        faults_add(faults, REASON_MEMBER_UNKNOWN, "/account", "is not known beside a payment_id");
    if (between && !asked->has_scheme)
        faults_add(faults, REASON_MEMBER_MISSING, "/scheme", "give the scheme that owed it");
    if (!between && asked->has_scheme)
        faults_add(faults, REASON_MEMBER_UNKNOWN, "/scheme",
                   "is known beside the account between_schemes only");
    if (asked->payment_id == NULL && asked->has_participant && for_scheme)
        faults_add(faults, REASON_MEMBER_UNKNOWN, "/participant", "is not known beside this account");
    if (asked->payment_id == NULL && !asked->has_participant && !for_scheme)
        faults_add(faults, REASON_MEMBER_MISSING, "/participant", "give it, or a payment_id, or an account");
}

static void fill_order(const struct resolve_request *asked, struct bank_line_order *order)
{
    static const enum line_target targets[] = {
        [RESOLVE_ARREARS] = LINE_FOR_ARREARS,   [RESOLVE_CHARGES] = LINE_FOR_CHARGES,
        [RESOLVE_INTEREST] = LINE_FOR_INTEREST, [RESOLVE_OPERATOR] = LINE_FOR_OPERATOR,
        [RESOLVE_BETWEEN] = LINE_FOR_BETWEEN,
    };
    order->payment_id = asked->payment_id;
    order->participant = asked->participant;
    order->target = asked->has_account ? targets[asked->account] : LINE_FOR_ARREARS;
    order->other = asked->scheme;
    order->note = asked->note;
}

void handle_bank_line_resolve(const struct request *request, struct answer *answer)
{
    struct resolve_request asked;
    struct control control = control_of(request, answer, PROPOSAL_BANK_LINE, request->parts[0]);
    struct bank_line_order order = {
        .key = request->identity->key,
        .dry_run = request->dry_run,
        .control = &control,
        .json = &answer->body,
    };
    const struct scheme *scheme = bank_named(request, request->parts[0], &order.line);
    json_t *body = request_json(request, answer);
    if (scheme == NULL)
        answer_not_found(answer);
    if (scheme == NULL || body == NULL ||
        !shape_decode(&shape_resolve, body, "", NULL, &asked, &answer->faults))
        return;
    check_target(&asked, &answer->faults);
    if (answer->faults.count > 0)
        return;
    order.scheme = scheme->id;
    fill_order(&asked, &order);
    finish(request, answer,
           bank_resolve_line(request->pg, request->service->snapshots, &order, &answer->faults));
    if (control.proposed)
        answer->status = 202;
}

void approve_bank_line(const struct request *request, struct answer *answer, const struct kept_write *kept,
                       json_t *body, struct control *control)
{
    struct resolve_request asked;
    struct bank_line_order order = {.key = request->identity->key,
                                    .dry_run = request->dry_run,
                                    .control = control,
                                    .scheme = kept->scheme};
    const struct scheme *scheme = bank_named(request, kept->name, &order.line);
    if (scheme == NULL)
        answer_not_found(answer);
    if (scheme == NULL || !shape_decode(&shape_resolve, body, "", NULL, &asked, &answer->faults))
        return;
    fill_order(&asked, &order);
    enum store_result result =
        bank_resolve_line(request->pg, request->service->snapshots, &order, &answer->faults);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
}
