/* SPDX-License-Identifier: ISC */
/* A person states neither id nor kind, because the form knows them, and the time as a clock on the wall shows
 * it. The rest of an event's shape is the form. */
#include "http/forms/form_event.h"

#include "base/clock.h"
#include "http/events/event_body.h"
#include "report/html.h"
#include "store/read_store.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>

/* Members that no person fills in. */
static const char *const known[] = {"event_id", "kind", "approved_by"};

bool form_is_event(const struct route *route)
{
    return route->run == NULL && route->csv_body == NULL;
}

static bool is_known(const char *name)
{
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++)
        if (strcmp(known[i], name) == 0)
            return true;
    return false;
}

static enum entry_kind kind_of(const char *word)
{
    enum entry_kind kind = word != NULL ? entry_kind_parse(word) : KIND_NONE;
    return event_body_shape(kind) != NULL ? kind : KIND_NONE;
}

static bool may_post(const struct request *request, enum entry_kind kind)
{
    return (entry_kind_posters(kind) & 1u << request->identity->role) != 0;
}

/* A copy of the shape for people, in the arena. */
static struct shape *shape_for_people(const struct shape *whole, struct arena *arena)
{
    struct shape *shape = arena_alloc(arena, sizeof *shape);
    struct field *fields = arena_array(arena, whole->field_count, sizeof *fields);
    if (shape == NULL || fields == NULL)
        return NULL;
    *shape = *whole;
    shape->fields = fields;
    shape->field_count = 0;
    for (size_t i = 0; i < whole->field_count; i++) {
        struct field *field = &fields[shape->field_count];
        if (is_known(whole->fields[i].name))
            continue;
        *field = whole->fields[i];
        shape->field_count++;
        if (field->form != FORM_INSTANT)
            continue;
        field->required = false;
        field->description = "In the scheme's own time. Now, if you leave it empty";
    }
    return shape;
}

const struct shape *form_event_shape(const struct request *request, struct answer *answer, const char *word)
{
    enum entry_kind kind = kind_of(word);
    if (kind == KIND_NONE) {
        faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "kind",
                             "is no kind of event that can be posted");
        return NULL;
    }
    if (!may_post(request, kind)) {
        faults_refuse(&answer->faults, REASON_ROLE_NOT_ALLOWED);
        return NULL;
    }
    const struct shape *shape = shape_for_people(event_body_shape(kind), request->arena);
    if (shape == NULL)
        answer_store_failure(answer, STORE_UNAVAILABLE);
    return shape;
}

void form_event_kinds(const struct request *request, struct buffer *text)
{
    buffer_add_text(text, "<ul class=\"acts\">\n");
    for (enum entry_kind kind = KIND_NONE; kind < KIND_LIMIT; kind++) {
        if (event_body_shape(kind) == NULL || !may_post(request, kind))
            continue;
        buffer_printf(text, "<li><a href=\"/forms/%s?kind=%s\">", request->parts[0], entry_kind_word(kind));
        html_label(text, entry_kind_word(kind));
        buffer_add_text(text, "</a></li>\n");
    }
    buffer_add_text(text, "</ul>\n");
}

/* --- the event -------------------------------------------------------------------------------------------
 */

static const struct scheme *scheme_of(const struct request *request, const json_t *values)
{
    const struct network *network = &request->snapshot->network;
    const char *code = json_string_value(json_object_get(values, "site"));
    const struct site *site = code != NULL ? network_site(network, code) : NULL;
    if (site != NULL)
        return network->scheme_by_id[site->scheme];
    code = json_string_value(json_object_get(values, "scheme"));
    return code != NULL ? network_scheme(network, code) : NULL;
}

/* "2026-11-27T09:30" or "2026-11-27 09:30:15", as browsers and people write local times. */
static bool is_local_time(const char *text)
{
    struct instant ignored;
    char whole[INSTANT_TEXT_MAX];
    size_t length = strlen(text);
    if ((length != 16 && length != 19) || (text[10] != 'T' && text[10] != ' '))
        return false;
    int written = snprintf(whole, sizeof whole, "%.10sT%s%s", text, text + 11, length == 16 ? ":00Z" : "Z");
    return instant_parse(whole, (size_t)written, &ignored);
}

/* Sets the time of the event, and the local time of the form. Anything but a local time stays as it was
 * typed, so that the event's own check speaks of it. */
static bool set_time(const struct request *request, json_t *values, json_t *event)
{
    const struct scheme *scheme = scheme_of(request, values);
    const char *typed = json_string_value(json_object_get(values, "occurred_at"));
    char text[INSTANT_TEXT_MAX];
    struct instant now = clock_now();
    struct local_time time = {.instant = {now.us - now.us % 1000000}};
    if (typed != NULL && !is_local_time(typed))
        return true;
    if (scheme != NULL &&
        read_local_time(request->pg, request->arena, scheme->id, typed, time.instant, &time) != STORE_OK)
        return false;
    instant_format(time.instant, text);
    return json_object_set_new(event, "occurred_at", json_string(text)) == 0 &&
           (time.shown == NULL || json_object_set_new(values, "occurred_at", json_string(time.shown)) == 0);
}

json_t *form_event(const struct request *request, struct answer *answer, const char *kind,
                   const char *event_id, json_t *values)
{
    json_t *event = json_copy(values);
    if (event != NULL && json_object_set_new(event, "event_id", json_string(event_id)) == 0 &&
        json_object_set_new(event, "kind", json_string(kind)) == 0 && set_time(request, values, event))
        return event;
    answer_store_failure(answer, STORE_UNAVAILABLE);
    json_decref(event);
    return NULL;
}

const char *form_event_referred(struct arena *arena, const json_t *values)
{
    static const char *const members[] = {"reverses", "dispatch"};
    for (size_t i = 0; i < sizeof members / sizeof members[0]; i++) {
        const json_t *id = json_object_get(values, members[i]);
        struct uuid uuid;
        char path[sizeof "/v1/events/" + UUID_TEXT_MAX] = "/v1/events/";
        if (id == NULL || !uuid_parse(json_string_value(id), json_string_length(id), &uuid))
            continue;
        uuid_format(&uuid, path + strlen(path));
        return arena_copy(arena, path, strlen(path));
    }
    return NULL;
}

const char *form_event_next(const struct request *asked, const struct answer *inner)
{
    char path[128] = "/";
    const char *id = json_string_value(json_object_get(asked->json, "event_id"));
    const char *scheme = json_string_value(json_object_get(asked->json, "scheme"));
    const char *kind = json_string_value(json_object_get(asked->json, "kind"));
    bool journal = kind != NULL && entry_kind_parse(kind) == KIND_JOURNAL;
    if (inner->status == 202 && id != NULL && scheme != NULL && shape_is_code(scheme, strlen(scheme)))
        snprintf(path, sizeof path, "/v1/%s/%.36s?scheme=%s", journal ? "journals" : "openings", id, scheme);
    else if (id != NULL)
        snprintf(path, sizeof path, "/v1/events/%s", id);
    const char *copy = arena_copy(asked->arena, path, strlen(path));
    return copy != NULL ? copy : "/";
}
