/* SPDX-License-Identifier: ISC */
/* An earlier thing is read as its own page would read it, so a key learns nothing that it may not read. */
#include "http/forms/form_begin.h"

#include "http/forms/form_event.h"
#include "http/forms/form_run.h"
#include "http/request/json_body.h"
#include "http/request/once.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Sets a member that the link has not filled in. */
static void set(json_t *values, const char *name, json_t *value)
{
    if (value != NULL && json_object_get(values, name) == NULL)
        json_object_set_new(values, name, value); /* if memory runs out, the field begins empty */
    else
        json_decref(value);
}

static json_t *text_at(const json_t *object, const char *name)
{
    return json_incref(json_object_get(object, name));
}

/* --- a receipt, a loss --------------------------------------------------------------------------------- */

/* The lines of cups of which some are left, as a member says. */
static json_t *lines_left(const json_t *list, const char *member)
{
    size_t index;
    const json_t *line;
    json_t *lines = json_array();
    json_array_foreach(list, index, line)
    {
        bool damaged = strcmp(json_member_text(line, "condition"), "damaged") == 0;
        json_t *quantity = json_object_get(line, member);
        if (json_integer_value(quantity) > 0)
            json_array_append_new(lines, json_pack("{s:s, s:O, s:s?}", "cup_type",
                                                   json_member_text(line, "cup_type"), "quantity", quantity,
                                                   "condition", damaged ? "damaged" : NULL));
    }
    return lines;
}

/* A receipt is at the site that the cups were sent to, a loss at the site that sent them. Cups that were sent
 * home are received, and given up, in their home. */
static void begin_arrival(const json_t *event, bool received, json_t *values)
{
    const json_t *transfer = json_object_get(event, "transfer");
    const json_t *first = json_array_get(transfer, 0);
    bool home = json_object_get(first, "home") != NULL;
    set(values, "site", text_at(first, received || home ? "receiver" : "sender"));
    if (home)
        set(values, "host", text_at(event, "scheme"));
    set(values, "cups", lines_left(transfer, "in_transit"));
}

/* --- a journal that undoes another --------------------------------------------------------------------- */

static json_t *opposite(const json_t *leg)
{
    char amount[64];
    const char *debit = json_member_text(leg, "debit"), *credit = json_member_text(leg, "credit");
    snprintf(amount, sizeof amount, "%s%.40s", *debit != '\0' ? "-" : "", *debit != '\0' ? debit : credit);
    return json_pack("{s:s, s:s}", "account", json_member_text(leg, "account"), "amount", amount);
}

static void begin_opposite(const json_t *journal, json_t *values)
{
    size_t index;
    const json_t *leg;
    json_t *legs = json_array();
    char reason[64 + UUID_TEXT_MAX];
    json_array_foreach(json_object_get(journal, "legs"), index, leg)
        json_array_append_new(legs, opposite(leg));
    snprintf(reason, sizeof reason, "Undoes journal %.36s", json_member_text(journal, "event_id"));
    set(values, "legs", legs);
    set(values, "reason", json_string(reason));
}

static json_t *read_journal(const struct request *request, const json_t *values)
{
    char path[sizeof "/v1/journals/" + UUID_TEXT_MAX] = "/v1/journals/", query[sizeof "scheme=" + CODE_SIZE];
    struct uuid uuid;
    const char *id = form_value(&request->form, "undoes");
    if (id == NULL || !uuid_parse(id, strlen(id), &uuid))
        return NULL;
    uuid_format(&uuid, path + strlen(path));
    snprintf(query, sizeof query, "scheme=%.32s", json_member_text(values, "scheme"));
    return form_read_json(request, path, query, NULL);
}

/* --- a dispatch that fulfils a request ----------------------------------------------------------------- */

static json_t *read_shipment_asked(const struct request *request, const json_t *values)
{
    char path[sizeof "/v1/shipments/" + UUID_TEXT_MAX] = "/v1/shipments/";
    struct uuid uuid;
    const char *id = json_member_text(values, "shipment");
    if (!uuid_parse(id, strlen(id), &uuid))
        return NULL;
    uuid_format(&uuid, path + strlen(path));
    return form_read_json(request, path, "", NULL);
}

void form_begin(const struct request *request, const char *kind, json_t *values)
{
    enum entry_kind of = entry_kind_parse(kind);
    const char *path = form_event_referred(request->arena, values);
    if (entry_kind_undo(of) == UNDO_JOURNAL) {
        json_t *journal = read_journal(request, values);
        if (journal != NULL)
            begin_opposite(journal, values);
        json_decref(journal);
    } else if (path != NULL && entry_kind_refers(of) == REFERS_DISPATCH) {
        json_t *event = form_read_json(request, path, "", NULL);
        if (json_array_size(json_object_get(event, "transfer")) > 0)
            begin_arrival(event, entry_kind_effect(of) == EFFECT_RECEIVED, values);
        json_decref(event);
    } else if (entry_kind_effect(of) == EFFECT_SENT) {
        json_t *shipment = read_shipment_asked(request, values);
        if (shipment != NULL)
            set(values, "cups", lines_left(json_object_get(shipment, "cups"), "to_send"));
        json_decref(shipment);
    }
}

/* --- the shipments of a plan --------------------------------------------------------------------------- */

static const char plan_page[] = "/v1/plans?";

bool form_begins_with_plan(const struct request *request, const char *page)
{
    return page != NULL && strncmp(page, plan_page, sizeof plan_page - 1) == 0 &&
           form_value(&request->form, "part") != NULL;
}

/* Gives each shipment an id. So the same form sent again asks for the same shipments. False: out of memory,
 * or there are no random numbers. */
static bool name_shipments(json_t *shipments)
{
    size_t index;
    json_t *shipment;
    char id[UUID_TEXT_MAX];
    json_array_foreach(shipments, index, shipment)
    {
        if (!once_new(id) || json_object_set_new(shipment, "shipment", json_string(id)) != 0)
            return false;
    }
    return true;
}

/* The list of shipments of the plan's scheme that are to be sent. NULL: out of memory. */
static const char *shipments_page(struct arena *arena, const json_t *plan)
{
    char page[sizeof "/v1/shipments?state=requested&scheme=" + CODE_SIZE];
    snprintf(page, sizeof page, "/v1/shipments?state=requested&scheme=%.32s",
             json_member_text(plan, "scheme"));
    return arena_copy(arena, page, strlen(page));
}

json_t *form_begin_shipments(const struct request *request, struct answer *answer, const char **back)
{
    struct faults found = {.count = 0};
    json_t *plan = form_read_json(request, "/v1/plans", *back + sizeof plan_page - 1, &found);
    size_t part = strtoul(form_value(&request->form, "part"), NULL, 10);
    json_t *asked = json_incref(json_array_get(json_object_get(plan, "requests"), part - 1));
    if (plan == NULL && found.count > 0)
        answer->faults = found;
    else if (plan == NULL)
        answer_store_failure(answer, STORE_UNAVAILABLE);
    else if (asked == NULL)
        faults_add(&answer->faults, REASON_PRECONDITION_FAILED, NULL,
                   "It has changed since you looked. Look again");
    else if (!name_shipments(json_object_get(asked, "shipments")))
        answer_store_failure(answer, STORE_UNAVAILABLE);
    *back = plan != NULL ? shipments_page(request->arena, plan) : NULL;
    json_decref(plan);
    return asked;
}
