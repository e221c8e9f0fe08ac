/* SPDX-License-Identifier: ISC */
/* /counter: the page of a counter, and its forms. A form becomes the event that a till would post, and goes
 * the way of all events. Then the browser is led back to the page (RFC 9110 section 15.4.4), which reads what
 * was recorded from the ledger. */
#include "http/resources/handlers.h"

#include "base/clock.h"
#include "base/uri.h"
#include "depositd/event.h"
#include "http/events/events_run.h"
#include "http/pages/page_counter.h"
#include "http/request/problem.h"
#include "store/counter_store.h"
#include "store/key_store.h"
#include "store/shipment_store.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    EVENTS_SHOWN = 50,
    SHIPMENTS_SHOWN = 20,
    JSON_MAX = 8 << 20,
    TARGET_MAX = 512,
    DIGITS_MAX = 15,
    FIELD_NAME_MAX = 32
};

/* --- the page --------------------------------------------------------------------------------------------
 */

/* Parses the buffer and ends it. NULL: a fault has been added. */
static json_t *parsed(struct answer *answer, enum store_result result, struct buffer *text)
{
    json_error_t error;
    json_t *json = NULL;
    if (result == STORE_OK && !text->failed)
        json = json_loadb(text->data, text->length, 0, &error);
    if (json == NULL)
        answer_store_failure(answer, result != STORE_OK ? result : STORE_UNAVAILABLE);
    buffer_dispose(text);
    return json;
}

/* The business day at a site of the key. */
static bool find_day(const struct request *request, struct answer *answer, const char *site, struct date *day)
{
    struct buffer text;
    size_t index;
    json_t *item;
    buffer_init(&text, JSON_MAX);
    enum store_result result = store_key_self(request->pg, request->identity->key, &text);
    json_t *self = parsed(answer, result, &text);
    const char *date = NULL;
    json_array_foreach(json_object_get(self, "sites"), index, item)
    {
        const char *code = json_string_value(json_object_get(item, "site"));
        if (code != NULL && strcmp(code, site) == 0)
            date = json_string_value(json_object_get(item, "business_date"));
    }
    bool found = date != NULL && date_parse(date, strlen(date), day);
    if (self != NULL && !found)
        faults_refuse(&answer->faults, REASON_SCHEME_NOT_OPEN);
    json_decref(self);
    return found;
}

/* Reads the event that ?recorded= names. NULL: there is none, or a fault has been added. */
static json_t *read_told(const struct request *request, struct answer *answer, int32_t site)
{
    const char *id = request_query(request, "recorded");
    struct uuid event_id;
    struct buffer text;
    if (id == NULL)
        return NULL;
    if (!uuid_parse(id, strlen(id), &event_id)) {
        faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "recorded", "must be a UUID");
        return NULL;
    }
    buffer_init(&text, JSON_MAX);
    enum store_result result = read_counter_event(request->pg, site, &event_id, &text);
    return parsed(answer, result, &text);
}

static void write_page(const struct request *request, struct answer *answer, const struct counter_page *page)
{
    if (answer->faults.count > 0)
        return;
    if (!page_counter(request, page, &answer->body))
        answer_store_failure(answer, STORE_UNAVAILABLE);
    answer->is_page = true;
}

/* `faults`: of the form that came back; NULL: none did. */
static void show_counter(const struct request *request, struct answer *answer, const struct site *site,
                         const struct faults *faults)
{
    struct buffer place, shipments, events;
    struct date day;
    struct counter_page page = {.again = request_query(request, "again") != NULL, .faults = faults};
    if (!find_day(request, answer, site->code, &day))
        return;
    buffer_init(&place, JSON_MAX);
    buffer_init(&shipments, JSON_MAX);
    buffer_init(&events, JSON_MAX);
    enum store_result result = read_counter_place(request->pg, site->id, day, &place);
    json_t *place_json = parsed(answer, result, &place);
    result = read_counter_shipments(request->pg, site->id, SHIPMENTS_SHOWN, &shipments);
    json_t *shipments_json = parsed(answer, result, &shipments);
    result = read_counter_events(request->pg, site->id, day, EVENTS_SHOWN, &events, &page.more);
    json_t *events_json = parsed(answer, result, &events);
    json_t *told = faults == NULL ? read_told(request, answer, site->id) : NULL;
    page.place = place_json;
    page.shipments = shipments_json;
    page.events = events_json;
    page.told = json_array_get(told, 0);
    page.lost = page.again && told != NULL && page.told == NULL;
    write_page(request, answer, &page);
    json_decref(place_json);
    json_decref(shipments_json);
    json_decref(events_json);
    json_decref(told);
}

static void show_sites(const struct request *request, struct answer *answer, const struct faults *faults)
{
    struct buffer text;
    const struct visible_sites sites = {.ids = request->identity->sites,
                                        .count = request->identity->site_count};
    buffer_init(&text, JSON_MAX);
    enum store_result result = read_counter_sites(request->pg, &sites, &text);
    json_t *json = parsed(answer, result, &text);
    if (json == NULL)
        return;
    if (!page_counter_sites(request, json, faults, &answer->body))
        answer_store_failure(answer, STORE_UNAVAILABLE);
    answer->is_page = true;
    json_decref(json);
}

/* The site with the code, if it is one of the key's. Without a code, the key's only site. NULL: neither. */
static const struct site *site_of(const struct request *request, const char *code)
{
    const struct network *network = &request->snapshot->network;
    const struct identity *identity = request->identity;
    if (code == NULL)
        return identity->site_count == 1 ? network->site_by_id[identity->sites[0]] : NULL;
    const struct site *site = network_site(network, code);
    return site != NULL && identity_has_site(identity, site) ? site : NULL;
}

/* A counter is worked by a person who has signed in. A program posts events. */
static bool is_signed_in(const struct request *request, struct answer *answer)
{
    if (request->session == 0)
        faults_refuse(&answer->faults, REASON_UNAUTHENTICATED);
    return request->session != 0;
}

void handle_counter_page(const struct request *request, struct answer *answer)
{
    const char *code = request_query(request, "site");
    const struct site *site = site_of(request, code);
    if (!is_signed_in(request, answer))
        return;
    if (site != NULL)
        show_counter(request, answer, site, NULL);
    else if (code == NULL)
        show_sites(request, answer, NULL);
    else
        answer_not_found(answer);
}

/* --- a form that comes back ------------------------------------------------------------------------------
 */

static const struct {
    const char *word;
    enum entry_kind kind;
} acts[COUNTER_ACTS] = {
#define X(NAME, act_word, label, KIND) [COUNTER_##NAME] = {#act_word, KIND_##KIND},
    COUNTER_ACT_TABLE(X)
#undef X
};

/* COUNTER_ACTS: the form names none. */
static enum counter_act act_of(const struct request *request)
{
    const char *word = form_value(&request->form, COUNTER_ACT);
    enum counter_act act = 0;
    while (act < COUNTER_ACTS && (word == NULL || strcmp(word, acts[act].word) != 0))
        act++;
    return act;
}

static const char *filled(const struct request *request, const char *name)
{
    const char *value = form_value(&request->form, name);
    return value != NULL && *value != '\0' ? value : NULL;
}

/* A number that does not fit stays a string, so that the event's shape refuses it. */
static json_t *quantity_of(const struct request *request, const char *name)
{
    const char *text = filled(request, name);
    size_t digits = text != NULL ? strspn(text, "0123456789") : 0;
    if (text == NULL)
        return NULL;
    return digits > 0 && digits <= DIGITS_MAX && text[digits] == '\0' ? json_integer(strtoll(text, NULL, 10))
                                                                      : json_string(text);
}

/* A list of one line. */
static json_t *line_of(const struct request *request, bool damaged)
{
    json_t *line =
        json_pack("[{s:s*, s:o*, s:s*}]", "cup_type", filled(request, COUNTER_CUP_TYPE), "quantity",
                  quantity_of(request, COUNTER_QUANTITY), "condition", damaged ? "damaged" : NULL);
    return line;
}

/* A line of a shipment's form; NULL: the form has no such line, or it says that none of these cups were
 * there. */
static json_t *cups_line_of(const struct request *request, size_t index, bool *more)
{
    char name[FIELD_NAME_MAX], code[CODE_SIZE];
    snprintf(name, sizeof name, COUNTER_LINE "%zu", index);
    const char *line = filled(request, name);
    *more = line != NULL;
    snprintf(name, sizeof name, COUNTER_COUNT "%zu", index);
    json_t *quantity = line != NULL ? quantity_of(request, name) : NULL;
    if (quantity == NULL || (json_is_integer(quantity) && json_integer_value(quantity) == 0)) {
        json_decref(quantity);
        return NULL;
    }
    const char *condition = strchr(line, '/');
    snprintf(code, sizeof code, "%.*s", (int)strcspn(line, "/"), line);
    return json_pack("{s:s, s:o, s:s*}", "cup_type", code, "quantity", quantity, "condition",
                     condition != NULL ? condition + 1 : NULL);
}

/* The cups of a shipment's form. NULL: out of memory. */
static json_t *cups_of(const struct request *request)
{
    bool more = true;
    json_t *cups = json_array();
    for (size_t i = 0; i < CUP_LINES_MAX && more && cups != NULL; i++) {
        json_t *line = cups_line_of(request, i, &more);
        if (line != NULL && json_array_append_new(cups, line) != 0) {
            json_decref(cups);
            return NULL;
        }
    }
    return cups;
}

static bool is_of_shipment(enum counter_act act)
{
    return act == COUNTER_SEND || act == COUNTER_RECEIVE;
}

static bool add_shipment(const struct request *request, enum counter_act act, json_t *event)
{
    json_t *named = act == COUNTER_SEND
                        ? json_pack("{s:s*, s:s*}", "to", filled(request, COUNTER_TO), "shipment",
                                    filled(request, COUNTER_SHIPMENT))
                        : json_pack("{s:s*, s:s*}", "dispatch", filled(request, COUNTER_DISPATCH), "host",
                                    filled(request, COUNTER_HOST));
    return json_object_update_new(event, named) == 0 &&
           json_object_set_new(event, "cups", cups_of(request)) == 0;
}

/* The event that the form stands for. NULL: out of memory. */
static json_t *event_of(const struct request *request, enum counter_act act)
{
    char now[INSTANT_TEXT_MAX];
    bool damaged = filled(request, COUNTER_DAMAGED) != NULL;
    instant_format(clock_now(), now);
    json_t *event = json_pack("{s:s, s:s, s:s*, s:s*, s:s*}", "kind", entry_kind_word(acts[act].kind),
                              "occurred_at", now, "event_id", filled(request, COUNTER_EVENT_ID), "site",
                              filled(request, COUNTER_SITE), "reference", filled(request, COUNTER_TEXT));
    bool whole = event != NULL;
    if (whole && act == COUNTER_UNDO)
        whole = json_object_update_new(
                    event, json_pack("{s:s*}", "reverses", filled(request, COUNTER_REVERSES))) == 0;
    if (whole && is_of_shipment(act))
        whole = add_shipment(request, act, event);
    if (whole && (act == COUNTER_BACK || act == COUNTER_SWAP))
        whole = json_object_set_new(event, "returned", line_of(request, damaged)) == 0;
    if (whole && (act == COUNTER_OUT || act == COUNTER_SWAP))
        whole = json_object_set_new(event, "issued", line_of(request, false)) == 0;
    if (whole && act != COUNTER_UNDO && !is_of_shipment(act))
        whole =
            json_object_update_new(event, json_pack("{s:s*, s:s*}", "amount", filled(request, COUNTER_AMOUNT),
                                                    "tender", filled(request, COUNTER_TENDER))) == 0;
    if (whole)
        return event;
    json_decref(event);
    return NULL;
}

/* Leads back to the page, which tells what was recorded under the form's id. */
static void lead_back(const struct request *request, struct answer *answer, bool again)
{
    const struct site *site = site_of(request, filled(request, COUNTER_SITE));
    const char *id = filled(request, COUNTER_EVENT_ID);
    struct buffer target;
    buffer_init(&target, TARGET_MAX);
    buffer_add_text(&target, "/counter");
    if (site != NULL && id != NULL) {
        buffer_printf(&target, "?site=%s&recorded=", site->code);
        uri_encode(&target, id);
        buffer_add_text(&target, again ? "&again=yes" : "");
    }
    const char *kept = target.failed ? NULL : arena_copy(request->arena, target.data, target.length);
    answer_lead_to(answer, kept != NULL ? kept : "/counter");
    buffer_dispose(&target);
}

/* Shows the page with the faults, and with what was typed. */
static void show_again(const struct request *request, struct answer *answer, const struct faults *faults)
{
    const struct site *site = site_of(request, filled(request, COUNTER_SITE));
    answer->status = problem_status(faults);
    if (site == NULL)
        show_sites(request, answer, faults);
    else
        show_counter(request, answer, site, faults);
}

/* Whether the event is fit to be posted, as far as only this form can tell. */
static bool is_sensible(const struct request *request, enum counter_act act, struct faults *faults)
{
    if (act == COUNTER_ACTS)
        faults_add(faults, REASON_VALUE_UNKNOWN, "/" COUNTER_ACT, "The form is not one of this service's");
    else if (act == COUNTER_OUT && filled(request, COUNTER_DAMAGED) != NULL)
        faults_add(faults, REASON_MEMBER_UNKNOWN, "/" COUNTER_DAMAGED,
                   "Damaged cups never go out. Take the tick away, or tap Back");
    return faults->count == 0;
}

/* The results of posting: the event was recorded now, or before, or there are faults. */
static void post(const struct request *request, enum counter_act act, struct answer *inner)
{
    struct request asked = *request;
    *inner = (struct answer){.arena = request->arena, .status = 200, .media = MEDIA_JSON};
    buffer_init(&inner->body, JSON_MAX);
    faults_init(&inner->faults, request->arena);
    if (!is_sensible(request, act, &inner->faults))
        return;
    asked.json = event_of(request, act);
    if (asked.json == NULL)
        answer_store_failure(inner, STORE_UNAVAILABLE);
    else
        events_run(&asked, inner);
    json_decref(asked.json);
}

void handle_counter_sent(const struct request *request, struct answer *answer)
{
    struct answer inner;
    if (!is_signed_in(request, answer))
        return;
    post(request, act_of(request), &inner);
    bool taken = inner.faults.count > 0 && inner.faults.items[0].reason == REASON_EVENT_ID_CONFLICT;
    if (inner.faults.count > 0 && !taken)
        show_again(request, answer, &inner.faults);
    else
        lead_back(request, answer, taken || inner.status == 200);
    buffer_dispose(&inner.body);
}
