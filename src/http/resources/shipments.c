/* SPDX-License-Identifier: ISC */
/* /v1/shipments: people ask for shipments, look at them, and withdraw them. */
#include "app/cups/shipments.h"

#include "http/events/lines_body.h"
#include "http/request/json_body.h"
#include "http/request/once.h"
#include "http/request/slice.h"
#include "http/request/visible.h"
#include "http/resources/handlers.h"
#include "http/resources/payment_shapes.h"
#include "http/resources/shipment_shapes.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { POINTER_MAX = 64 };

typedef enum store_result (*shipment_reader)(struct pg *pg, const struct uuid *id, int32_t scheme,
                                             const struct visible_sites *visible, struct buffer *json,
                                             size_t *found);

/* --- reading ------------------------------------------------------------------------------------------- */

static bool is_one_of(const char *word, const char *const words[])
{
    for (size_t i = 0; words[i] != NULL; i++)
        if (strcmp(word, words[i]) == 0)
            return true;
    return false;
}

/* False: a fault was added. */
static bool list_asked(const struct request *request, struct answer *answer, struct shipments_filter *filter)
{
    const char *state = request_query(request, "state"), *actor = request_query(request, "waits_for");
    filter->list = state != NULL ? state : actor != NULL ? actor : "all";
    if (state != NULL && !is_one_of(state, shipment_states))
        faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "state",
                             "must be open, requested, in_transit, short, arrived or withdrawn");
    if (actor != NULL && !is_one_of(actor, shipment_actors))
        faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "waits_for",
                             "must be sender, receiver or accountant");
    else if (actor != NULL && state != NULL)
        faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "waits_for",
                             "asks for open shipments, so it does not go with state");
    return answer->faults.count == 0;
}

/* False: a fault was added. */
static bool site_asked(const struct request *request, struct answer *answer, struct shipments_filter *filter)
{
    const char *code = request_query(request, "site");
    const struct site *site = code != NULL ? network_site(&request->snapshot->network, code) : NULL;
    filter->site = site != NULL ? site->id : 0;
    if (code == NULL || (site != NULL && site->scheme == filter->scheme &&
                         (filter->visible.all || identity_has_site(request->identity, site))))
        return true;
    faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "site", "there is no such site");
    return false;
}

void handle_shipments_list(const struct request *request, struct answer *answer)
{
    struct shipments_filter filter = {0};
    struct list_slice slice;
    bool overdue;
    const struct scheme *scheme = request_scheme(request, answer, request_query(request, "scheme"));
    if (scheme == NULL || !request_visible(request, answer, &filter.visible))
        return;
    filter.scheme = scheme->id;
    if (!list_asked(request, answer, &filter) || !site_asked(request, answer, &filter) ||
        !request_flag(request, answer, "overdue", &overdue, &filter.overdue) ||
        !slice_begin(request, answer, &slice))
        return;
    enum store_result result = read_shipments(request->pg, &filter, &slice);
    slice_end(request, answer, result, &slice);
}

/* The shipment that the path names, of the scheme that the query may name (0: any). False: a fault was added.
 */
static bool named(const struct request *request, struct answer *answer, struct uuid *id, int32_t *scheme)
{
    const char *code = request_query(request, "scheme");
    const struct scheme *of = code != NULL ? request_scheme(request, answer, code) : NULL;
    *scheme = of != NULL ? of->id : 0;
    if (code != NULL && of == NULL)
        return false;
    if (uuid_parse(request->parts[0], strlen(request->parts[0]), id))
        return true;
    answer_not_found(answer);
    return false;
}

/* There is no such shipment, or several schemes have one. */
static void not_one(struct answer *answer, size_t found)
{
    if (found == 0)
        answer_not_found(answer);
    else
        faults_add_parameter(&answer->faults, REASON_PARAMETER_MISSING, "scheme",
                             "several schemes have a shipment with this id");
}

/* Reads the shipment that the path names. */
static void get(const struct request *request, struct answer *answer, shipment_reader read)
{
    struct visible_sites visible;
    struct uuid id;
    int32_t scheme;
    size_t found = 0;
    if (!named(request, answer, &id, &scheme) || !request_visible(request, answer, &visible))
        return;
    enum store_result result = read(request->pg, &id, scheme, &visible, &answer->body, &found);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (found != 1)
        not_one(answer, found);
}

void handle_shipment_get(const struct request *request, struct answer *answer)
{
    get(request, answer, read_shipment);
}

void handle_packing_list(const struct request *request, struct answer *answer)
{
    get(request, answer, read_packing_list);
}

/* --- writing ------------------------------------------------------------------------------------------- */

struct viewing {
    const struct request *request;
    struct answer *answer;
    int32_t scheme;
    const struct shipment_wish *wishes; /* NULL: only the shipment below */
    size_t count;
    struct uuid id;
};

static enum store_result view_one(const struct viewing *viewing, struct pg *pg, const struct uuid *id)
{
    const struct visible_sites all = {.all = true};
    size_t found = 0;
    enum store_result result = read_shipment(pg, id, viewing->scheme, &all, &viewing->answer->body, &found);
    return result == STORE_OK && found != 1 ? STORE_FAILED : result;
}

/* Runs in the transaction, so that a dry run can show the result. */
static enum store_result view_many(void *context, struct pg *pg)
{
    const struct viewing *viewing = context;
    struct buffer *body = &viewing->answer->body;
    enum store_result result = STORE_OK;
    buffer_reset(body);
    buffer_add_text(body, "{\"items\":[");
    for (size_t i = 0; i < viewing->count && result == STORE_OK; i++) {
        buffer_add_text(body, i > 0 ? "," : "");
        result = view_one(viewing, pg, &viewing->wishes[i].id);
    }
    buffer_add_text(body, "]}");
    if (result == STORE_OK && viewing->request->dry_run)
        answer_mark_dry_run(viewing->answer);
    return result;
}

static enum store_result view_single(void *context, struct pg *pg)
{
    const struct viewing *viewing = context;
    buffer_reset(&viewing->answer->body);
    enum store_result result = view_one(viewing, pg, &viewing->id);
    if (result == STORE_OK && viewing->request->dry_run)
        answer_mark_dry_run(viewing->answer);
    return result;
}

/* The digest is over the members as they came, in the order of their names. False: out of memory. */
static bool find_digest(const json_t *stated, struct sha256 *digest)
{
    char *text = json_dumps(stated, JSON_SORT_KEYS | JSON_COMPACT);
    if (text == NULL)
        return false;
    sha256_of(text, strlen(text), digest);
    free(text);
    return true;
}

/* The id that was given, or a new one. False: there are no random numbers. */
static bool find_id(const struct shipment_body *body, struct uuid *id)
{
    char fresh[UUID_TEXT_MAX];
    *id = body->shipment;
    return body->has_shipment || (once_new(fresh) && uuid_parse(fresh, strlen(fresh), id));
}

/* NULL: a fault was added. */
static struct shipment_wish *read_wishes(const struct shipments_body *body, const json_t *json,
                                         struct faults *faults)
{
    char pointer[POINTER_MAX];
    const struct shipment_body *stated = body->shipments.items;
    struct shipment_wish *wishes = arena_array(faults->arena, body->shipments.count, sizeof *wishes);
    bool whole = wishes != NULL;
    for (size_t i = 0; i < body->shipments.count && whole; i++) {
        wishes[i] = (struct shipment_wish){
            .site = stated[i].site,
            .to = stated[i].to,
            .wanted_on = stated[i].wanted_on,
            .note = stated[i].note,
            .bearer = stated[i].has_bearer ? (enum bearer)(stated[i].bearer + 1) : BEARER_NONE,
        };
        whole = find_id(&stated[i], &wishes[i].id) &&
                find_digest(json_array_get(json_object_get(json, "shipments"), i), &wishes[i].digest);
        snprintf(pointer, sizeof pointer, "/shipments/%zu/cups", i);
        lines_body_read(pointer, &stated[i].cups, &wishes[i].cups, faults);
    }
    if (!whole)
        faults_refuse(faults, REASON_OVERLOADED);
    return faults->count == 0 ? wishes : NULL;
}

/* The address of the shipment. NULL: out of memory. */
static const char *address_of(const struct request *request, const struct uuid *id)
{
    char path[sizeof "/v1/shipments/" + UUID_TEXT_MAX] = "/v1/shipments/";
    uuid_format(id, path + strlen(path));
    return arena_copy(request->arena, path, strlen(path));
}

void handle_shipments_post(const struct request *request, struct answer *answer)
{
    struct shipments_body body;
    const json_t *json = request_json(request, answer);
    if (json == NULL || !shape_decode(&shape_shipments, json, "", NULL, &body, &answer->faults))
        return;
    const struct scheme *scheme = network_scheme(&request->snapshot->network, body.scheme);
    if (scheme == NULL) {
        faults_add(&answer->faults, REASON_SCHEME_UNKNOWN, "/scheme", "there is no such scheme");
        return;
    }
    struct shipment_wish *wishes = read_wishes(&body, json, &answer->faults);
    if (wishes == NULL)
        return;
    struct viewing viewing = {request, answer, scheme->id, wishes, body.shipments.count, {{0}}};
    struct shipments_asked asked = {.scheme = scheme->id,
                                    .key = request->identity->key,
                                    .dry_run = request->dry_run,
                                    .wishes = wishes,
                                    .count = body.shipments.count,
                                    .view = view_many,
                                    .context = &viewing};
    enum store_result result =
        shipments_request(request->pg, request->service->snapshots, &asked, &answer->faults);
    answer->status = asked.known == asked.count ? 200 : 201;
    answer->location = answer->status == 201 ? address_of(request, &wishes[0].id) : NULL;
    if (result != STORE_OK)
        answer_store_failure(answer, result);
}

void handle_shipment_withdraw(const struct request *request, struct answer *answer)
{
    struct stated_reason stated;
    struct shipment_standing standing;
    struct shipment_withdrawing withdrawing = {.key = request->identity->key, .dry_run = request->dry_run};
    size_t found = 0;
    if (!named(request, answer, &withdrawing.id, &withdrawing.scheme) ||
        !shape_decode(&shape_reason, request_json(request, answer), "", NULL, &stated, &answer->faults))
        return;
    enum store_result result = store_shipment_find(request->pg, request->arena, &withdrawing.id,
                                                   withdrawing.scheme, &standing, &found);
    if (result == STORE_OK && found != 1) {
        not_one(answer, found);
        return;
    }
    if (result == STORE_OK) {
        struct viewing viewing = {request, answer, standing.scheme, NULL, 0, withdrawing.id};
        withdrawing.scheme = standing.scheme;
        withdrawing.why = stated.reason;
        withdrawing.view = view_single;
        withdrawing.context = &viewing;
        result = shipment_withdraw(request->pg, request->service->snapshots, &withdrawing, &answer->faults);
    }
    if (result != STORE_OK)
        answer_store_failure(answer, result);
}
