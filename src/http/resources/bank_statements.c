/* SPDX-License-Identifier: ISC */
/* Bank statements are taken and listed, and their lines are listed and resolved. */
#include "http/resources/handlers.h"

#include "app/office/bank.h"
#include "http/request/slice.h"
#include "http/resources/bank_shapes.h"
#include "http/resources/proposing.h"
#include "store/bank_store.h"

#include <stdlib.h>
#include <string.h>

enum { NUMBER_DIGITS_MAX = 15 };

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

void handle_bank_statements_list(const struct request *request, struct answer *answer)
{
    struct list_slice slice;
    const struct scheme *scheme = request_scheme(request, answer, request_query(request, "scheme"));
    if (scheme == NULL || !slice_begin(request, answer, &slice))
        return;
    enum store_result result = read_bank_statements(request->pg, scheme->id, &slice);
    slice_end(request, answer, result, &slice);
}

void handle_bank_lines_list(const struct request *request, struct answer *answer)
{
    struct list_slice slice;
    bool is_open;
    const bool *open;
    const struct scheme *scheme = request_scheme(request, answer, request_query(request, "scheme"));
    if (scheme == NULL || !request_flag(request, answer, "open", &is_open, &open) ||
        !slice_begin(request, answer, &slice))
        return;
    enum store_result result = read_bank_lines(request->pg, scheme->id, open, &slice);
    slice_end(request, answer, result, &slice);
}

/* Finds a line by its name: the scheme and the line's number in it, as in tern-bay.17. NULL: there is no such
 * line. */
static const struct scheme *line_named(const struct request *request, const char *name, int64_t *line)
{
    char code[CODE_SIZE];
    const char *point = strrchr(name, '.');
    if (point == NULL || point == name || point - name > CODE_MAX)
        return NULL;
    size_t digits = strspn(point + 1, "0123456789");
    if (digits == 0 || digits > NUMBER_DIGITS_MAX || point[1 + digits] != '\0')
        return NULL;
    memcpy(code, name, (size_t)(point - name));
    code[point - name] = '\0';
    *line = strtoll(point + 1, NULL, 10);
    return network_scheme(&request->snapshot->network, code);
}

/* Adds what an open line may be for, as a member of the line's object. */
static enum store_result add_candidates(const struct request *request, int32_t scheme, int64_t line,
                                        struct buffer *json)
{
    bool open = false;
    struct buffer candidates;
    buffer_init(&candidates, json->maximum);
    enum store_result result = read_bank_line_candidates(request->pg, scheme, line, &candidates, &open);
    if (result == STORE_OK && open) {
        json->length--; /* the brace that ends the object */
        buffer_add_text(json, ",\"candidates\":");
        buffer_add(json, candidates.data, candidates.length);
        buffer_add_char(json, '}');
    }
    buffer_dispose(&candidates);
    return result;
}

void handle_bank_line_get(const struct request *request, struct answer *answer)
{
    int64_t line = 0;
    bool found = false;
    const struct scheme *scheme = line_named(request, request->parts[0], &line);
    enum store_result result = STORE_OK;
    if (scheme != NULL)
        result = read_bank_line(request->pg, scheme->id, line, &answer->body, &found);
    if (result == STORE_OK && found)
        result = add_candidates(request, scheme->id, line, &answer->body);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (!found)
        answer_not_found(answer);
}

/* The target is a payment, a participant, or an account of the scheme. */
static void check_target(const struct resolve_request *asked, struct faults *faults)
{
    bool for_scheme = asked->has_account && asked->account != RESOLVE_ARREARS;
    if (asked->payment_id != NULL && asked->has_participant)
        faults_add(faults, REASON_MEMBER_UNKNOWN, "/participant", "is not known beside a payment_id");
    if (asked->payment_id != NULL && asked->has_account)
        faults_add(faults, REASON_MEMBER_UNKNOWN, "/account", "is not known beside a payment_id");
    if (asked->payment_id == NULL && asked->has_participant && for_scheme)
        faults_add(faults, REASON_MEMBER_UNKNOWN, "/participant", "is not known beside this account");
    if (asked->payment_id == NULL && !asked->has_participant && !for_scheme)
        faults_add(faults, REASON_MEMBER_MISSING, "/participant", "give it, or a payment_id, or an account");
}

static void fill_order(const struct resolve_request *asked, struct bank_line_order *order)
{
    static const enum line_target targets[] = {
        [RESOLVE_ARREARS] = LINE_FOR_ARREARS,
        [RESOLVE_CHARGES] = LINE_FOR_CHARGES,
        [RESOLVE_INTEREST] = LINE_FOR_INTEREST,
        [RESOLVE_OPERATOR] = LINE_FOR_OPERATOR,
    };
    order->payment_id = asked->payment_id;
    order->participant = asked->participant;
    order->target = asked->has_account ? targets[asked->account] : LINE_FOR_ARREARS;
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
    const struct scheme *scheme = line_named(request, request->parts[0], &order.line);
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
    const struct scheme *scheme = line_named(request, kept->name, &order.line);
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
