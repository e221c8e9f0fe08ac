/* SPDX-License-Identifier: ISC */
/* The two handlers: the page of a form, and the form as it comes back. After it is done, the browser is led
 * to a page that it can load again without doing anything (RFC 9110 section 15.4.4). */
#include "http/forms/forms.h"

#include "app/network/sessions.h"
#include "base/clock.h"
#include "http/forms/form_begin.h"
#include "http/forms/form_event.h"
#include "http/forms/form_file.h"
#include "http/forms/form_json.h"
#include "http/forms/form_page.h"
#include "http/forms/form_run.h"
#include "http/pages/page.h"
#include "http/pages/page_sign_in.h"
#include "http/request/csv_body.h"
#include "http/request/problem.h"

#include <string.h>

/* Finds the fields of the operation, or of a kind of event. False: a fault has been added. */
static bool find_shape(const struct request *request, struct answer *answer, struct form_page *about)
{
    if (!form_is_event(about->route))
        about->kind = NULL;
    about->shape = about->kind != NULL ? form_event_shape(request, answer, about->kind) : about->route->body;
    return answer->faults.count == 0;
}

/* Reads ?fill=, the fields that a link has filled in, as a form would send them. False: a fault has been
 * added. */
static bool read_fill(struct request *request, struct answer *answer)
{
    const char *fields = request_query(request, "fill");
    return fields == NULL || form_body_parse(fields, strlen(fields), &request->form, &answer->faults);
}

static bool is_shipments(const struct route *route)
{
    return strcmp(route->id, "createShipments") == 0;
}

void handle_form_page(const struct request *request, struct answer *answer)
{
    struct request filled = *request, asked;
    const char *target = request_query(request, "target"), *kind = request_query(request, "kind");
    struct form_page about = {.route = form_operation(request, answer),
                              .back = page_own_target(request_query(request, "back"))};
    if (about.route == NULL || !read_fill(&filled, answer))
        return;
    about.kind = kind != NULL ? kind : form_value(&filled.form, "kind");
    if (!find_shape(request, answer, &about))
        return;
    json_t *values =
        about.shape != NULL && filled.form.count > 0 ? form_json(about.shape, &filled.form) : NULL;
    if (target == NULL && strchr(about.route->path, '{') == NULL)
        target = about.route->path;
    if (values != NULL && about.kind != NULL)
        form_begin(&filled, about.kind, values);
    if (values != NULL && is_shipments(about.route) && form_begins_with_plan(&filled, about.back)) {
        json_decref(values);
        values = form_begin_shipments(&filled, answer, &about.back);
    }
    about.values = values;
    about.asked = target != NULL ? &asked : NULL;
    if (answer->faults.count == 0 &&
        (target == NULL || form_address(request, answer, about.route, target, &asked)))
        form_page_write(&filled, &about, answer);
    json_decref(values);
}

/* --- a form that comes back ------------------------------------------------------------------------------
 */

struct sent {
    const struct request *request;
    struct answer *answer;
    const struct route *route;
    struct request asked;
    struct form_page page;
    json_t *values;      /* of the fields */
    json_t *event;       /* made of the values, or of a spreadsheet; NULL: it is neither */
    struct faults found; /* in the spreadsheet, when it was read */
    struct uuid once;
};

/* Shows the form again. */
static void show_again(struct sent *sent, const struct faults *faults, int status)
{
    sent->page.values = sent->values;
    sent->page.faults = faults;
    sent->answer->status = status;
    form_page_write(sent->request, &sent->page, sent->answer);
}

/* Reads the fields. False: a fault has been added. */
static bool read_values(struct sent *sent)
{
    const struct request *request = sent->request;
    struct form_page *page = &sent->page;
    if (form_is_event(sent->route) && (page->kind == NULL || page->event_id == NULL)) {
        faults_add(&sent->answer->faults, REASON_BAD_FORMAT, NULL, "The form is not one of this service's");
        return false;
    }
    if (!find_shape(request, sent->answer, page))
        return false;
    if (form_is_file(sent->route) || page->shape == NULL)
        return true;
    sent->values = form_json(page->shape, &request->form);
    if (sent->values == NULL)
        answer_store_failure(sent->answer, STORE_UNAVAILABLE);
    else if (page->kind != NULL && page->more == NULL)
        sent->event = form_event(request, sent->answer, page->kind, page->event_id, sent->values);
    return sent->answer->faults.count == 0;
}

/* Puts the event that the lines are in the place of these. False: faults were added. */
static bool make_event(struct sent *sent)
{
    struct answer made = {.arena = sent->asked.arena, .faults = sent->found};
    if (sent->route->event_of_lines == NULL)
        return true;
    json_t *event = sent->route->event_of_lines(&sent->asked, &made);
    sent->found = made.faults;
    if (event == NULL) {
        csv_body_place_faults(sent->asked.csv, sent->asked.json, &sent->found);
        return false;
    }
    json_decref(sent->event);
    sent->event = event;
    sent->asked.json = event;
    return true;
}

/* Takes the file as the body of the request. False: the form was answered. */
static bool take_file(struct sent *sent)
{
    struct request *asked = &sent->asked;
    const char *file = form_value(&sent->request->form, "file");
    asked->body = file != NULL ? file : "";
    asked->body_length = strlen(asked->body);
    if (sent->route->csv_body == NULL)
        return true;
    faults_init(&sent->found, sent->request->arena);
    asked->csv = arena_alloc(asked->arena, sizeof *asked->csv);
    if (asked->csv == NULL)
        faults_refuse(&sent->found, REASON_OVERLOADED);
    else
        sent->event =
            csv_body_read(sent->route->csv_body, asked->body, asked->body_length, asked->csv, &sent->found);
    asked->json = sent->event;
    if (sent->event != NULL && make_event(sent))
        return true;
    show_again(sent, &sent->found, problem_status(&sent->found));
    return false;
}

/* Finds the path and makes the request. False: the form was answered. */
static bool make_request(struct sent *sent)
{
    const struct request *request = sent->request;
    const char *path = form_value(&request->form, "target");
    if (path == NULL)
        path = strchr(sent->route->path, '{') == NULL ? sent->route->path : form_path(request, sent->route);
    sent->page = (struct form_page){
        .route = sent->route,
        .back = page_own_target(form_value(&request->form, "back")),
        .more = form_value(&request->form, "more"),
        .kind = form_value(&request->form, "kind"),
        .event_id = form_value(&request->form, "event_id"),
    };
    if (!read_values(sent))
        return false;
    if (path == NULL) {
        show_again(sent, NULL, sent->page.more != NULL ? 200 : 422);
        return false;
    }
    if (!form_address(request, sent->answer, sent->route, path, &sent->asked))
        return false;
    sent->page.asked = &sent->asked;
    form_query(request, &sent->asked);
    sent->asked.if_match = form_value(&request->form, "if_match");
    sent->asked.dry_run = form_value(&request->form, "try") != NULL && sent->route->dry_run;
    if (form_is_file(sent->route))
        return take_file(sent);
    bool empty = sent->route->body_optional && json_object_size(sent->values) == 0;
    sent->asked.json = empty ? NULL : sent->event != NULL ? sent->event : sent->values;
    return true;
}

/* Whether the thing is still as the form's page showed it. */
static bool is_as_seen(struct sent *sent)
{
    const char *seen = form_value(&sent->request->form, "seen");
    const struct form_subject subject = {sent->values, sent->page.back};
    struct request read;
    struct answer thing;
    bool found = form_read_thing(&sent->asked, &subject, &read, &thing);
    bool same = seen != NULL &&
                strcmp(seen, form_seen(sent->route, found ? &thing : NULL, sent->request->arena)) == 0;
    if (found)
        form_answer_free(&thing);
    return same;
}

/* Whether this form is done now. If it was sent before, leads to the page that it led to then. */
static bool is_first(struct sent *sent)
{
    const struct request *request = sent->request;
    const char *once = form_value(&request->form, "once");
    struct sent_form form = {.first = false};
    if (once == NULL || !uuid_parse(once, strlen(once), &sent->once)) {
        faults_add(&sent->answer->faults, REASON_BAD_FORMAT, NULL, "The form is not one of this service's");
        return false;
    }
    enum store_result result =
        store_form_begin(request->pg, request->arena, request->session, &sent->once, clock_now(), &form);
    if (result != STORE_OK)
        answer_store_failure(sent->answer, result);
    else if (!form.first)
        answer_lead_to(sent->answer, form.location != NULL
                                         ? form.location
                                         : form_next(&sent->asked, sent->answer, sent->page.back));
    return result == STORE_OK && form.first;
}

/* A secret is shown this once, so its page is the answer itself. */
static bool shows_secret(const struct route *route)
{
    return strcmp(route->answer_schema != NULL ? route->answer_schema : "", "NewKey") == 0;
}

static void finish(struct sent *sent, struct answer *inner)
{
    struct answer *answer = sent->answer;
    const char *next = form_next(&sent->asked, inner, sent->page.back);
    /* If this fails, it is done all the same. Sent again, the form leads to the operation's own page. */
    (void)!store_form_end(sent->request->pg, sent->request->session, &sent->once, next);
    if (!shows_secret(sent->route) || inner->status == 202) {
        answer_lead_to(answer, next);
        return;
    }
    inner->media = MEDIA_HTML;
    page_of_answer(&sent->asked, inner);
    buffer_add(&answer->body, inner->body.data, inner->body.length);
    answer->is_page = true;
}

static void do_operation(struct sent *sent)
{
    struct answer inner;
    struct faults changed;
    if (!sent->asked.dry_run && !is_first(sent))
        return;
    if (!sent->asked.dry_run && !is_as_seen(sent)) {
        faults_init(&changed, sent->request->arena);
        faults_add(&changed, REASON_PRECONDITION_FAILED, NULL, "It has changed since you looked. Look again");
        show_again(sent, &changed, 412);
        return;
    }
    form_run(&sent->asked, sent->asked.csv != NULL ? &sent->found : NULL, &inner);
    if (sent->asked.csv != NULL)
        csv_body_place_faults(sent->asked.csv, sent->asked.json, &inner.faults);
    if (inner.faults.count > 0) {
        show_again(sent, &inner.faults, problem_status(&inner.faults));
    } else if (sent->asked.dry_run) {
        sent->page.tried = &inner;
        show_again(sent, NULL, 200);
    } else {
        finish(sent, &inner);
    }
    form_answer_free(&inner);
}

void handle_form_sent(const struct request *request, struct answer *answer)
{
    struct sent sent = {.request = request, .answer = answer, .route = form_operation(request, answer)};
    if (sent.route == NULL)
        return;
    if (request->session == 0) {
        faults_refuse(&answer->faults, REASON_UNAUTHENTICATED);
        return;
    }
    if (make_request(&sent)) {
        if (sent.page.more != NULL)
            show_again(&sent, NULL, 200);
        else
            do_operation(&sent);
    }
    json_decref(sent.values);
    json_decref(sent.event);
}
