/* SPDX-License-Identifier: ISC */
/* A page that moves money shows the payment above its button. It carries a hash of what it showed, so that
 * nobody approves something else. */
#include "http/forms/form_page.h"

#include "http/forms/form_choice.h"
#include "http/forms/form_event.h"
#include "http/forms/form_fields.h"
#include "http/forms/form_file.h"
#include "http/forms/form_run.h"
#include "http/pages/page.h"
#include "http/pages/page_problem.h"
#include "http/pages/page_times.h"
#include "http/request/once.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>

const char *form_label(const struct route *route, struct arena *arena)
{
    char label[2 * CODE_SIZE];
    size_t length = 0;
    for (const char *at = route->id; *at != '\0' && length + 3 < sizeof label; at++) {
        if (isupper((unsigned char)*at))
            label[length++] = ' ';
        label[length] = (char)(length == 0 ? toupper((unsigned char)*at) : tolower((unsigned char)*at));
        length++;
    }
    return arena_copy(arena, label, length);
}

const char *form_seen(const struct route *route, const struct answer *thing, struct arena *arena)
{
    const struct form_choice *choice = form_choice_of(route);
    struct sha256 hash;
    char hex[SHA256_HEX_MAX];
    if (thing == NULL || (choice != NULL && choice->of_back))
        return "";
    sha256_of(thing->body.data, thing->body.length, &hash);
    sha256_hex(&hash, hex);
    const char *copy = arena_copy(arena, hex, strlen(hex));
    return copy != NULL ? copy : "";
}

/* --- the parts of the page -------------------------------------------------------------------------------
 */

/* The faults, each leading to its field (WCAG 2.2, 3.3.1). A file has no fields: `has_fields` false. */
static void add_faults(const struct faults *faults, bool has_fields, struct buffer *text)
{
    if (faults == NULL || faults->count == 0)
        return;
    buffer_add_text(text, "<section class=\"wrong\" role=\"alert\"><h2>");
    html_word(text, "Nothing was recorded");
    buffer_add_text(text, "</h2>\n<ul>\n");
    for (size_t i = 0; i < faults->count; i++) {
        const struct fault *fault = &faults->items[i];
        const char *place = fault_where(fault);
        buffer_add_text(text, "<li>");
        if (has_fields && place != NULL && *place == '/') {
            buffer_add_text(text, "<a href=\"#f");
            html_text(text, place);
            buffer_add_text(text, "\">");
            html_text(text, place + 1);
            buffer_add_text(text, "</a>: ");
        } else if (place != NULL && *place != '\0') {
            html_text(text, place);
            buffer_add_text(text, ": ");
        }
        page_fault(text, fault);
        buffer_add_text(text, "</li>\n");
    }
    buffer_add_text(text, "</ul>\n");
    page_more_faults(text, faults);
    buffer_add_text(text, "</section>\n");
}

static json_t *parsed(const struct answer *answer)
{
    json_error_t error;
    return answer != NULL ? json_loadb(answer->body.data, answer->body.length, 0, &error) : NULL;
}

/* Shows an answer as its own page would. */
static void add_answer(const struct request *asked, const json_t *json, struct buffer *text)
{
    json_t *times = page_times(asked, json);
    struct page_view view = {
        .request = asked, .about = page_about(asked->route->answer_schema), .text = text, .times = times};
    const struct page_scope scope = {.object = json};
    page_thing(&view, &scope);
    page_zone(&view);
    json_decref(times);
    if (view.about->note != NULL)
        html_note(text, view.about->note);
}

/* A number for this copy of the form. The event of a form keeps its id when the form is shown again: if the
 * answer to the first attempt was lost, the second is a replay. */
static void add_numbers(const struct form_page *about, struct buffer *text)
{
    char written[UUID_TEXT_MAX];
    if (!once_new(written)) {
        text->failed = true;
        return;
    }
    form_hidden(text, "once", written);
    if (about->kind == NULL)
        return;
    form_hidden(text, "kind", about->kind);
    form_hidden(text, "event_id", about->event_id != NULL ? about->event_id : written);
}

/* Whether the part of the path, after its brace, is the code of a thing that the operation may make. */
static bool names_new(const struct route *route, const char *part)
{
    return route->method == METHOD_PUT && strchr(part, '{') == NULL &&
           strncmp(part, "effective_date}", strlen("effective_date}")) != 0;
}

/* The parts of the path. Parts that are known are hidden. */
static void add_parts(const struct form_view *view, const struct form_page *about)
{
    const char *at = about->route->path;
    if (form_is_complete(about->asked)) {
        form_hidden(view->text, "target", about->asked->path);
        return;
    }
    for (size_t i = 0; (at = strchr(at, '{')) != NULL; i++) {
        char name[CODE_SIZE + 1] = ":";
        size_t length = strcspn(++at, "}");
        memcpy(name + 1, at, length < CODE_MAX ? length : 0);
        const char *known =
            about->asked != NULL && *about->asked->parts[i] != '{' ? about->asked->parts[i] : NULL;
        if (known != NULL)
            form_hidden(view->text, name, known);
        else
            form_text_field(view, &(struct form_text){.name = name,
                                                      .label = name + 1,
                                                      .value = form_value(&view->request->form, name),
                                                      .required = true,
                                                      .is_new = names_new(about->route, at)});
    }
}

static void add_query(const struct form_view *view, const struct form_page *about)
{
    const struct parameter *parameters = about->route->parameters;
    for (size_t i = 0; i < ROUTE_PARAMETERS_MAX && parameters[i].name != NULL; i++) {
        char name[CODE_SIZE + 1] = "?";
        strncat(name, parameters[i].name, CODE_MAX);
        form_text_field(view, &(struct form_text){.name = name,
                                                  .label = parameters[i].name,
                                                  .value = form_value(&view->request->form, name),
                                                  .required = parameters[i].required});
    }
}

static void add_try(struct buffer *text)
{
    buffer_add_text(text, "<button name=\"try\" value=\"true\">");
    html_word(text, "Try without recording");
    buffer_add_text(text, "</button>\n");
}

static void add_buttons(const struct form_page *about, struct arena *arena, struct buffer *text)
{
    const char *label = form_label(about->route, arena);
    buffer_add_text(text, "<p class=\"buttons\"><button>");
    if (about->kind != NULL)
        html_word_of(text, "verb", "Record");
    else
        html_word(text, label != NULL ? label : "Send");
    buffer_add_text(text, "</button>\n");
    if (about->route->dry_run)
        add_try(text);
    buffer_add_text(text, "</p>\n");
}

/* The thing that the form is about, as the key reads it. */
struct thing {
    bool found;
    struct request read;
    struct answer answer;
    json_t *json;
};

/* The form is about the scheme of its path, or of its fields. */
static void begin_options(const struct request *request, const struct form_page *about, const json_t *values,
                          struct form_options *options)
{
    static const char name[] = "scheme";
    const char *scheme = about->asked != NULL ? page_path_part(about->asked, name, strlen(name)) : NULL;
    if (scheme == NULL || *scheme == '{')
        scheme = json_string_value(json_object_get(values, name));
    form_options_begin(options, request, scheme, json_string_value(json_object_get(values, "site")));
}

static void add_form(const struct request *request, const struct form_page *about, const struct thing *thing,
                     const json_t *values, struct buffer *text)
{
    const struct faults none = {.count = 0};
    struct form_options options;
    const struct form_view view = {
        .request = request,
        .faults = about->faults != NULL ? about->faults : &none,
        .text = text,
        .choice = form_choice_of(about->route),
        .thing = thing->json,
        .options = &options,
    };
    begin_options(request, about, values, &options);
    const struct answer *shown = thing->found ? &thing->answer : NULL;
    buffer_printf(text, "<form method=\"post\" action=\"/forms/%s\" class=\"fields\"%s>\n", about->route->id,
                  form_is_file(about->route) ? " enctype=\"multipart/form-data\"" : "");
    add_numbers(about, text);
    if (about->back != NULL)
        form_hidden(text, "back", about->back);
    form_hidden(text, "seen", form_seen(about->route, shown, request->arena));
    if (shown != NULL && shown->etag != NULL && about->route->method == METHOD_PUT)
        form_hidden(text, "if_match", shown->etag);
    add_parts(&view, about);
    if (about->shape != NULL)
        form_fields(&view, about->shape, values, about->more);
    if (form_is_file(about->route))
        form_file_field(about->route, text);
    add_query(&view, about);
    add_buttons(about, request->arena, text);
    buffer_add_text(text, "</form>\n");
    form_options_write(&options, text);
    form_file_columns(about->route, text);
}

static void add_tried(const struct form_page *about, struct buffer *text)
{
    if (about->tried == NULL)
        return;
    json_t *json = parsed(about->tried);
    buffer_add_text(text, "<section class=\"tried\" role=\"status\"><h2>");
    html_word(text, "This would be done. Nothing was recorded yet.");
    buffer_add_text(text, "</h2>\n");
    if (json != NULL && about->asked != NULL)
        add_answer(about->asked, json, text);
    buffer_add_text(text, "</section>\n");
    json_decref(json);
}

static const char *title_of(const struct form_page *about, struct arena *arena)
{
    char title[64];
    size_t length = 0;
    if (!form_is_event(about->route))
        return about->route->summary;
    if (about->kind == NULL)
        return "Record an event";
    for (; about->kind[length] != '\0' && length < sizeof title; length++)
        title[length] = (char)(about->kind[length] == '_' ? ' ' : about->kind[length]);
    title[0] = (char)toupper((unsigned char)title[0]);
    const char *copy = arena_copy(arena, title, length);
    return copy != NULL ? copy : "Record an event";
}

static void read_thing(const struct form_page *about, struct thing *thing)
{
    const struct form_subject subject = {about->values, about->back};
    thing->found = form_is_complete(about->asked) &&
                   form_read_thing(about->asked, &subject, &thing->read, &thing->answer);
    if (thing->found)
        thing->json = parsed(&thing->answer);
}

/* A list to choose from is shown as the choice itself, and a thing to change as its fields. */
static bool is_shown(const struct form_page *about, const struct thing *thing)
{
    const struct form_choice *choice = form_choice_of(about->route);
    return thing->found && about->route->method != METHOD_PUT && (choice == NULL || !choice->of_back);
}

static void write_content(const struct request *request, const struct form_page *about,
                          const struct thing *thing, struct buffer *text)
{
    const json_t *values = about->values;
    add_faults(about->faults, about->shape != NULL, text);
    add_tried(about, text);
    if (is_shown(about, thing))
        add_answer(&thing->read, thing->json, text);
    if (values == NULL && about->route->method == METHOD_PUT)
        values = thing->json;
    if (form_is_event(about->route) && about->kind == NULL)
        form_event_kinds(request, text);
    else
        add_form(request, about, thing, values, text);
}

void form_page_write(const struct request *request, const struct form_page *about, struct answer *answer)
{
    struct html_page page = {.title = title_of(about, request->arena)};
    struct thing thing = {.found = false};
    read_thing(about, &thing);
    const struct page_scope scope = {.object = thing.json};
    if (!page_find_starts(request, &scope, &page)) {
        answer_store_failure(answer, STORE_UNAVAILABLE);
    } else {
        html_page_begin(&answer->body, &page);
        write_content(request, about, &thing, &answer->body);
        html_page_end(&answer->body);
        answer->is_page = true;
    }
    json_decref(thing.json);
    if (thing.found)
        form_answer_free(&thing.answer);
}
