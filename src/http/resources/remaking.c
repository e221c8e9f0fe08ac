/* SPDX-License-Identifier: ISC */
/* Batches of retired cups that left a site for a re-maker. People choose the code of a batch, and the scheme
 * follows from the site. */
#include "app/cups/remaking.h"

#include "base/clock.h"
#include "http/request/slice.h"
#include "http/resources/handlers.h"
#include "http/resources/oversight_shapes.h"
#include "http/resources/payment_shapes.h"

#include <stdio.h>
#include <string.h>

enum { REMAKER_CHARACTERS_MAX = 140, WEIGHT_G_MAX = 1000000000, POINTER_MAX = 48 };

struct batch_line {
    char cup_type[CODE_SIZE];
    int64_t quantity;
};

struct batch_body {
    char batch[CODE_SIZE], site[CODE_SIZE];
    struct date sent_on;
    const char *remaker;
    int64_t weight_g;
    struct shape_list cups; /* of struct batch_line */
};

#define MEMBER(type, member, of_form)                                                                        \
    .name = #member, .form = of_form, .required = true, .offset = offsetof(struct type, member)

static const struct field line_fields[] = {
    {MEMBER(batch_line, cup_type, FORM_CODE), .description = "Code of the cup type"},
    {MEMBER(batch_line, quantity, FORM_INTEGER), .minimum = 1, .maximum = QUANTITY_MAX,
     .description = "Retired cups of the type"},
};
static const struct shape shape_line = {"RemakingBatchLine", sizeof(struct batch_line), line_fields, 2,
                                        .bare = false};
static const struct field fields[] = {
    {MEMBER(batch_body, batch, FORM_CODE), .description = "Its code, which no other batch of the scheme has"},
    {MEMBER(batch_body, site, FORM_CODE),
     .description = "Code of the site where the cups were retired, mostly a hub"},
    {MEMBER(batch_body, sent_on, FORM_DATE), .description = "The day on which it left"},
    {MEMBER(batch_body, remaker, FORM_TEXT), .minimum = 1, .maximum = REMAKER_CHARACTERS_MAX,
     .description = "Who makes new things of it; no personal data"},
    {MEMBER(batch_body, weight_g, FORM_INTEGER), .minimum = 1, .maximum = WEIGHT_G_MAX,
     .description = "Grams of the whole batch, as weighed"},
    {MEMBER(batch_body, cups, FORM_LIST), .shape = &shape_line, .minimum = 1, .maximum = CUP_LINES_MAX,
     .description = "Each cup type once; no more than were retired at the site and are in no other batch"},
};
const struct shape shape_remaking_batch = {"RemakingBatchPost", sizeof(struct batch_body), fields,
                                           sizeof fields / sizeof fields[0], .bare = false};

/* Reads the lines into the batch. False: a fault has been added. */
static bool read_lines(const struct request *request, struct answer *answer, const struct batch_body *body,
                       struct remaking_batch *batch)
{
    char pointer[POINTER_MAX];
    const struct batch_line *lines = body->cups.items;
    batch->cup_types = arena_array(request->arena, body->cups.count, sizeof *batch->cup_types);
    batch->quantities = arena_array(request->arena, body->cups.count, sizeof *batch->quantities);
    if (batch->cup_types == NULL || batch->quantities == NULL) {
        faults_refuse(&answer->faults, REASON_OVERLOADED);
        return false;
    }
    for (size_t i = 0; i < body->cups.count; i++) {
        const struct cup_type *type = network_cup_type(&request->snapshot->network, lines[i].cup_type);
        bool repeated = false;
        for (size_t k = 0; k < i; k++)
            repeated = repeated || strcmp(lines[k].cup_type, lines[i].cup_type) == 0;
        snprintf(pointer, sizeof pointer, "/cups/%zu/cup_type", i);
        if (type == NULL)
            faults_add(&answer->faults, REASON_CUP_TYPE_UNKNOWN, pointer, "there is no such cup type");
        if (repeated)
            faults_add(&answer->faults, REASON_CUP_TYPE_REPEATED, pointer, "stands in the list already");
        batch->cup_types[i] = type != NULL ? type->id : 0;
        batch->quantities[i] = lines[i].quantity;
    }
    batch->line_count = body->cups.count;
    return answer->faults.count == 0;
}

/* Reads the body into the batch. NULL: a fault has been added. */
static const struct scheme *read_batch(const struct request *request, struct answer *answer,
                                       const struct batch_body *body, struct remaking_batch *batch)
{
    const struct network *network = &request->snapshot->network;
    const struct site *site = network_site(network, body->site);
    *batch = (struct remaking_batch){.site = site != NULL ? site->id : 0,
                                     .scheme = site != NULL ? site->scheme : 0,
                                     .code = body->batch,
                                     .sent_on = body->sent_on,
                                     .remaker = body->remaker,
                                     .weight_g = body->weight_g,
                                     .key = request->identity->key};
    if (site == NULL)
        faults_add(&answer->faults, REASON_SITE_UNKNOWN, "/site", "there is no such site");
    /* East of Greenwich it may be tomorrow already. */
    if (body->sent_on.days > instant_date(clock_now()).days + 1)
        faults_add(&answer->faults, REASON_OCCURRED_IN_FUTURE, "/sent_on", "has not come yet");
    return read_lines(request, answer, body, batch) ? network->scheme_by_id[site->scheme] : NULL;
}

static void answer_made(const struct request *request, struct answer *answer, const struct scheme *scheme,
                        const char *code)
{
    char location[2 * CODE_SIZE + sizeof "/v1/remaking-batches/"];
    int length = snprintf(location, sizeof location, "/v1/remaking-batches/%s/%s", scheme->code, code);
    answer->location = arena_copy(request->arena, location, (size_t)length);
    answer->status = 201;
}

void handle_remaking_batch_post(const struct request *request, struct answer *answer)
{
    struct batch_body body;
    struct remaking_batch batch;
    bool made = false;
    json_t *json = request_json(request, answer);
    if (json == NULL || !shape_decode(&shape_remaking_batch, json, "", NULL, &body, &answer->faults))
        return;
    const struct scheme *scheme = read_batch(request, answer, &body, &batch);
    if (scheme == NULL)
        return;
    enum store_result result =
        remaking_record(request->pg, &batch, request->dry_run, &answer->body, &made, &answer->faults);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (answer->faults.count == 0 && request->dry_run)
        answer_mark_dry_run(answer);
    else if (answer->faults.count == 0 && made)
        answer_made(request, answer, scheme, batch.code);
}

/* The scheme and the batch that the path names. NULL: a fault has been added. */
static const struct scheme *named(const struct request *request, struct answer *answer, const char **code)
{
    const struct scheme *scheme = request_scheme(request, answer, request->parts[0]);
    *code = request->parts[1];
    if (scheme == NULL || (strlen(*code) > 0 && strlen(*code) <= CODE_MAX))
        return scheme;
    answer_not_found(answer);
    return NULL;
}

void handle_remaking_batch_withdraw(const struct request *request, struct answer *answer)
{
    struct stated_reason stated;
    int32_t no_type = 0;
    int64_t no_cups = 0;
    struct remaking_batch batch = {
        .key = request->identity->key, .remaker = "", .cup_types = &no_type, .quantities = &no_cups};
    json_t *body = request_json(request, answer);
    if (body == NULL || !shape_decode(&shape_reason, body, "", NULL, &stated, &answer->faults))
        return;
    const struct scheme *scheme = named(request, answer, &batch.code);
    if (scheme == NULL)
        return;
    batch.scheme = scheme->id;
    batch.reason = stated.reason;
    enum store_result result =
        remaking_withdraw(request->pg, &batch, request->dry_run, &answer->body, &answer->faults);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (answer->faults.count == 0 && request->dry_run)
        answer_mark_dry_run(answer);
}

void handle_remaking_batch_get(const struct request *request, struct answer *answer)
{
    const char *code;
    bool found = false;
    const struct scheme *scheme = named(request, answer, &code);
    if (scheme == NULL)
        return;
    enum store_result result = read_remaking_batch(request->pg, scheme->id, code, &answer->body, &found);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (!found)
        answer_not_found(answer);
}

void handle_remaking_batches_list(const struct request *request, struct answer *answer)
{
    struct list_slice slice;
    const struct scheme *scheme = request_scheme(request, answer, request_query(request, "scheme"));
    if (scheme == NULL || !slice_begin(request, answer, &slice))
        return;
    enum store_result result = read_remaking_batches(request->pg, scheme->id, &slice);
    slice_end(request, answer, result, &slice);
}
