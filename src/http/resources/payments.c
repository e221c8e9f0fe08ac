/* SPDX-License-Identifier: ISC */
/* Payments after the close: the list of waiting payments, a single payment with its history, and the
 * decisions on payments. */
#include "http/resources/handlers.h"

#include "app/office/payments.h"
#include "http/request/route.h"
#include "http/request/slice.h"
#include "http/request/visible.h"
#include "http/resources/payment_shapes.h"
#include "store/payment_store.h"

#include <string.h>

enum { PAYMENT_ID_MAX = 35 };

/* Keeps the parameters while the statement runs. */
struct asked {
    bool held, waiting, to_pools;
    struct date from, to;
};

static bool state_asked(const struct request *request, struct answer *answer, struct asked *asked,
                        struct payments_filter *filter)
{
    enum payment_status status;
    filter->status = request_query(request, "status");
    if (filter->status != NULL && !payment_status_parse(filter->status, &status))
        faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "status",
                             "is no status of a payment");
    return request_flag(request, answer, "held", &asked->held, &filter->held) &&
           request_flag(request, answer, "waiting", &asked->waiting, &filter->waiting) &&
           request_flag(request, answer, "to_pools", &asked->to_pools, &filter->to_pools);
}

/* A participant's key knows of no other participant. */
static void participant_asked(const struct request *request, struct answer *answer,
                              struct payments_filter *filter)
{
    const struct identity *identity = request->identity;
    const char *code = request_query(request, "participant");
    filter->participant = identity->participant;
    if (code == NULL)
        return;
    const struct participant *participant = network_participant(&request->snapshot->network, code);
    if (participant == NULL || (!identity_has_all(identity) && identity->participant != participant->id))
        answer_not_found(answer);
    else
        filter->participant = participant->id;
}

static void side_asked(const struct request *request, struct answer *answer, struct payments_filter *filter)
{
    filter->side = request_query(request, "side");
    if (filter->side == NULL)
        return;
    if (strcmp(filter->side, "payer") != 0 && strcmp(filter->side, "payee") != 0)
        faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "side", "must be payer or payee");
    else if (filter->participant == 0)
        faults_add_parameter(&answer->faults, REASON_PARAMETER_MISSING, "participant",
                             "side is the side of a participant");
}

static bool filter_asked(const struct request *request, struct answer *answer, struct asked *asked,
                         struct payments_filter *filter)
{
    bool known = state_asked(request, answer, asked, filter);
    participant_asked(request, answer, filter);
    side_asked(request, answer, filter);
    if (!known || !request_date(request, answer, "from", &asked->from) ||
        !request_date(request, answer, "to", &asked->to))
        return false;
    filter->from = asked->from.days != INT32_MIN ? &asked->from : NULL;
    filter->to = asked->to.days != INT32_MAX ? &asked->to : NULL;
    return answer->faults.count == 0;
}

/* Checks the day and the id, in the form in which the statement takes the cursor apart. */
static bool cursor_valid(const char *after, struct answer *answer)
{
    struct date day;
    return after == NULL ||
           (strlen(after) > DATE_TEXT_MAX && after[10] == '/' && date_parse(after, 10, &day)) ||
           slice_refuse_cursor(answer);
}

void handle_payments_list(const struct request *request, struct answer *answer)
{
    struct payments_filter filter = {0};
    struct asked asked = {.from = {INT32_MIN}, .to = {INT32_MAX}};
    struct key_slice wanted;
    struct json_slice slice;
    const struct scheme *scheme = request_scheme(request, answer, request_query(request, "scheme"));
    if (scheme == NULL || !filter_asked(request, answer, &asked, &filter) ||
        !slice_begin_keys(request, answer, &wanted) || !cursor_valid(wanted.after, answer))
        return;
    filter.scheme = scheme->id;
    enum store_result result = read_payment_list(request->pg, &filter, &wanted, &answer->body, &slice);
    slice_end_keys(request, answer, &wanted, result, &slice);
}

void handle_payment_get(const struct request *request, struct answer *answer)
{
    struct visible_sites visible;
    bool found = false;
    if (!request_visible(request, answer, &visible))
        return;
    enum store_result result = read_payment(request->pg, request->parts[0], &visible, &answer->body, &found);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (!found)
        answer_not_found(answer);
}

/* --- changes ------------------------------------------------------------------------------------------- */

struct doing {
    const struct request *request;
    struct answer *answer;
    struct stated_confirmation stated; /* of a change other than a confirmation: the reason alone */
    enum payment_change change;
    const char *payment_id; /* NULL: all payments of a day */
    int32_t scheme;
    struct date day;
    struct shape_list ids; /* of payments to approve; none: all of the day */
};

static enum store_result change_under_head(void *context, struct head_work *work, struct faults *faults)
{
    const struct doing *doing = context;
    if (doing->payment_id != NULL)
        return payments_change_booked(work, doing->payment_id, doing->change,
                                      (struct money){doing->stated.amount.unscaled},
                                      doing->stated.stated.reason, faults);
    if (doing->ids.count == 0)
        return payments_approve_day(work, doing->day, doing->stated.stated.reason, faults);
    return payments_approve_some(work, doing->day, doing->ids.items, doing->ids.count,
                                 doing->stated.stated.reason, faults);
}

/* Runs in the transaction, so that a dry run can show the result. */
static enum store_result view(void *context, struct pg *pg)
{
    const struct doing *doing = context;
    const struct visible_sites all = {.all = true};
    struct buffer *body = &doing->answer->body;
    bool found;
    buffer_reset(body);
    enum store_result result = doing->payment_id != NULL
                                   ? read_payment(pg, doing->payment_id, &all, body, &found)
                                   : read_settlement(pg, doing->scheme, doing->day, &all, body, &found);
    if (result == STORE_OK && !found)
        return STORE_FAILED;
    if (result == STORE_OK && doing->request->dry_run)
        answer_mark_dry_run(doing->answer);
    return result;
}

static void run(struct doing *doing)
{
    const struct request *request = doing->request;
    struct answer *answer = doing->answer;
    const struct head_order order = {
        .scheme = doing->scheme,
        .key = request->identity->key,
        .dry_run = request->dry_run,
        .posts_now = true,
        .work = change_under_head,
        .view = view,
        .context = doing,
    };
    enum store_result result =
        head_work_run(request->pg, request->service->snapshots, &order, &answer->faults);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
}

void handle_settlement_approve(const struct request *request, struct answer *answer)
{
    struct doing doing = {.request = request, .answer = answer};
    const struct scheme *scheme = request_scheme(request, answer, request->parts[0]);
    if (scheme == NULL)
        return;
    if (!date_parse(request->parts[1], strlen(request->parts[1]), &doing.day)) {
        answer_not_found(answer);
        return;
    }
    struct stated_approval stated = {.reason = NULL};
    if (request->json != NULL &&
        !shape_decode(&shape_approve, request->json, "", NULL, &stated, &answer->faults))
        return;
    doing.scheme = scheme->id;
    doing.stated.stated.reason = stated.reason;
    doing.ids = stated.payments;
    run(&doing);
}

/* Whether the amount, if there is one, has the decimals of the scheme's currency. If not, the answer says so.
 */
static bool amount_is_of(const struct request *request, struct answer *answer, const struct doing *doing)
{
    const struct network *network = &request->snapshot->network;
    if (!doing->stated.has_amount || doing->scheme >= network->scheme_ids ||
        network->scheme_by_id[doing->scheme] == NULL)
        return true;
    unsigned decimals = network->scheme_by_id[doing->scheme]->currency->decimals;
    if (doing->stated.amount.scale == decimals && doing->stated.amount.unscaled <= MONEY_STATED_MAX)
        return true;
    faults_add(&answer->faults, REASON_AMOUNT_DECIMALS, "/amount", "must have exactly %u decimals", decimals);
    return false;
}

static void change(const struct request *request, struct answer *answer, enum payment_change what)
{
    struct doing doing = {
        .request = request, .answer = answer, .change = what, .payment_id = request->parts[0]};
    enum store_result result = STORE_OK;
    if (request->json != NULL &&
        !shape_decode(request->route->body, request->json, "", NULL, &doing.stated, &answer->faults))
        return;
    if (strlen(doing.payment_id) <= PAYMENT_ID_MAX)
        result = store_payment_scheme(request->pg, doing.payment_id, &doing.scheme);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (doing.scheme == 0)
        answer_not_found(answer);
    else if (amount_is_of(request, answer, &doing))
        run(&doing);
}

void handle_payment_release(const struct request *request, struct answer *answer)
{
    change(request, answer, CHANGE_RELEASE);
}

void handle_payment_approve(const struct request *request, struct answer *answer)
{
    change(request, answer, CHANGE_APPROVE);
}

void handle_payment_confirm(const struct request *request, struct answer *answer)
{
    change(request, answer, CHANGE_CONFIRM);
}

void handle_payment_fail(const struct request *request, struct answer *answer)
{
    change(request, answer, CHANGE_FAIL);
}
