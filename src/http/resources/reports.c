/* SPDX-License-Identifier: ISC */
/* Reports: their list, and any single report. No report's name appears in this file. */
#include "http/resources/handlers.h"

#include "base/uri.h"
#include "http/resources/report_answer.h"

#include <stdlib.h>
#include <string.h>

enum { MONTH_DAYS = 30 };

static void add_string(struct buffer *text, const char *value)
{
    buffer_add_json_string(text, value, strlen(value));
}

static void add_choices(struct buffer *text, const char *const *choices)
{
    buffer_add_text(text, ",\"values\":[");
    for (size_t i = 0; choices[i] != NULL; i++) {
        if (i > 0)
            buffer_add_char(text, ',');
        add_string(text, choices[i]);
    }
    buffer_add_char(text, ']');
}

static void add_parameter(struct buffer *text, const char *name, const char *kind, const char *description,
                          bool required, const char *const *choices)
{
    buffer_add_text(text, "{\"name\":");
    add_string(text, name);
    buffer_printf(text, ",\"kind\":\"%s\",\"description\":", kind);
    add_string(text, description);
    buffer_printf(text, ",\"required\":%s", required ? "true" : "false");
    if (choices != NULL)
        add_choices(text, choices);
    buffer_add_char(text, '}');
}

/* The link of a column, as a template for the client to fill in. */
static void add_link(struct buffer *text, const char *link)
{
    if (link == NULL)
        return;
    buffer_add_text(text, ",\"link\":");
    add_string(text, link);
}

static void add_report(struct buffer *text, const struct report *report)
{
    buffer_add_text(text, "{\"report\":");
    add_string(text, report->name);
    buffer_add_text(text, ",\"title\":");
    add_string(text, report->title);
    buffer_add_text(text, ",\"parameters\":[");
    add_parameter(text, "scheme", "scheme", "Scheme", true, NULL);
    for (size_t i = 0; i < report_parameter_count(report); i++) {
        const struct report_parameter *parameter = &report->parameters[i];
        buffer_add_char(text, ',');
        add_parameter(text, parameter->name, parameter_kind_word(parameter->kind), parameter->description,
                      parameter->otherwise == REQUIRED, parameter->choices);
    }
    buffer_add_text(text, "],\"columns\":[");
    for (size_t i = 0; i < report_column_count(report); i++) {
        buffer_add_text(text, i > 0 ? ",{\"name\":" : "{\"name\":");
        add_string(text, report->columns[i].name);
        buffer_printf(text, ",\"kind\":\"%s\",\"title\":", column_kind_word(report->columns[i].kind));
        add_string(text, report->columns[i].title);
        add_link(text, report->columns[i].link);
        buffer_add_char(text, '}');
    }
    buffer_add_text(text, "]}");
}

void handle_reports_list(const struct request *request, struct answer *answer)
{
    size_t count;
    bool first = true;
    const struct report *reports = reports_all(&count);
    buffer_add_text(&answer->body, "{\"items\":[");
    for (size_t i = 0; i < count; i++) {
        if ((reports[i].roles & 1u << request->identity->role) == 0)
            continue;
        buffer_add_text(&answer->body, first ? "\n" : ",\n");
        add_report(&answer->body, &reports[i]);
        first = false;
    }
    buffer_add_text(&answer->body, "]}\n");
}

static bool is_invalid(struct answer *answer, const char *name, const char *detail)
{
    faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, name, "%s", detail);
    return false;
}

/* Finds the id of a code, if the key may know of it. */
static bool site_asked(const struct request *request, struct answer *answer, const char *name,
                       const char *code, int64_t *id)
{
    const struct site *site = network_site(&request->snapshot->network, code);
    if (site == NULL || !identity_has_site(request->identity, site))
        return is_invalid(answer, name, "there is no such site");
    *id = site->id;
    return true;
}

static bool participant_asked(const struct request *request, struct answer *answer, const char *name,
                              const char *code, int64_t *id)
{
    const struct participant *participant = network_participant(&request->snapshot->network, code);
    if (participant == NULL || (role_reach(request->identity->role) == REACH_PARTICIPANT &&
                                request->identity->participant != participant->id))
        return is_invalid(answer, name, "there is no such participant");
    *id = participant->id;
    return true;
}

/* Finds the position of the word among the choices, counting from 1. */
static bool choice_asked(struct answer *answer, const struct report_parameter *parameter, const char *text,
                         int64_t *number)
{
    for (*number = 1; parameter->choices[*number - 1] != NULL; ++*number)
        if (strcmp(parameter->choices[*number - 1], text) == 0)
            return true;
    return is_invalid(answer, parameter->name, "is none of the values that the list of reports gives");
}

static bool number_asked(const struct request *request, struct answer *answer,
                         const struct report_parameter *parameter, const char *text, int64_t *number)
{
    const struct cup_type *cup_type;
    struct account account;
    switch (parameter->kind) {
    case PARAMETER_SITE:
        return site_asked(request, answer, parameter->name, text, number);
    case PARAMETER_PARTICIPANT:
        return participant_asked(request, answer, parameter->name, text, number);
    case PARAMETER_CUP_TYPE:
        cup_type = network_cup_type(&request->snapshot->network, text);
        *number = cup_type != NULL ? cup_type->id : 0;
        return cup_type != NULL || is_invalid(answer, parameter->name, "there is no such cup type");
    case PARAMETER_ACCOUNT:
        if (!network_account(&request->snapshot->network, text, &account))
            return is_invalid(answer, parameter->name, "must be an account, as site_clearing(anchor)");
        *number = account.code;
        return true;
    case PARAMETER_CHOICE:
        return choice_asked(answer, parameter, text, number);
    case PARAMETER_DAY:
        break;
    }
    abort();
}

/* NULL: out of memory. */
static const char *date_text(struct arena *arena, struct date date)
{
    char text[DATE_TEXT_MAX];
    return arena_copy(arena, text, date_format(date, text));
}

/* The default day of a report: a month before today or before the report's last day, or today. */
static bool day_otherwise(const struct request *request, struct answer *answer, const struct scheme *scheme,
                          enum parameter_default otherwise, struct date *day)
{
    struct date today, first;
    enum store_result result = read_day_current(request->pg, scheme->id, &today, &first);
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
        return false;
    }
    *day = today;
    if (otherwise == OR_TODAY)
        return true;
    struct date to;
    const char *text = request_query(request, "to");
    if (text != NULL && date_parse(text, strlen(text), &to) && to.days < today.days)
        *day = to;
    if (otherwise == OR_TODAY_ON_PAGES && answer->media == MEDIA_HTML)
        return true;
    day->days = day->days - MONTH_DAYS > first.days ? day->days - MONTH_DAYS : first.days;
    return true;
}

static bool argument_asked(const struct request *request, struct answer *answer, const struct scheme *scheme,
                           const struct report_parameter *parameter, struct report_argument *argument,
                           const char **text)
{
    *text = request_query(request, parameter->name);
    *argument = (struct report_argument){ARGUMENT_NULL};
    if (*text == NULL && parameter->otherwise == REQUIRED) {
        faults_add_parameter(&answer->faults, REASON_PARAMETER_MISSING, parameter->name, "is required");
        return false;
    }
    if (*text == NULL && parameter->otherwise == OR_FIRST_ON_PAGES && answer->media == MEDIA_HTML)
        *text = parameter->choices[0];
    if (*text == NULL && (parameter->otherwise == OR_NULL || parameter->otherwise == OR_FIRST_ON_PAGES))
        return true;
    if (parameter->kind != PARAMETER_DAY) {
        argument->kind = ARGUMENT_NUMBER;
        return number_asked(request, answer, parameter, *text, &argument->number);
    }
    argument->kind = ARGUMENT_DAY;
    bool known = *text != NULL ? request_date(request, answer, parameter->name, &argument->day)
                               : day_otherwise(request, answer, scheme, parameter->otherwise, &argument->day);
    if (known && *text == NULL)
        *text = date_text(request->arena, argument->day);
    return known;
}

/* Reads each of the report's arguments, or sets its default. */
static bool arguments_asked(const struct request *request, struct answer *answer, const struct report *report,
                            const struct scheme *scheme, struct report_asked *asked)
{
    bool known = true;
    for (size_t i = 0; i < report_parameter_count(report); i++)
        known = argument_asked(request, answer, scheme, &report->parameters[i], &asked->arguments[i],
                               &asked->texts[i]) &&
                known;
    return known;
}

/* The route accepts the parameters of all reports, so a parameter of another report must be refused here. */
static bool parameters_known(const struct request *request, struct answer *answer,
                             const struct report *report)
{
    for (size_t i = 0; i < request->query_count; i++) {
        const char *name = request->query[i].name;
        bool known = strcmp(name, "scheme") == 0 || strcmp(name, "format") == 0 || strcmp(name, "after") == 0;
        for (size_t p = 0; p < report_parameter_count(report); p++)
            known = known || strcmp(name, report->parameters[p].name) == 0;
        if (!known)
            faults_add_parameter(&answer->faults, REASON_PARAMETER_UNKNOWN, name,
                                 "the report has no such parameter");
    }
    return answer->faults.count == 0;
}

struct asking {
    const struct report *report;
    const struct scheme *scheme;
    const struct report_asked *asked;
};

/* A variable of the address of another page: the scheme, or a parameter. */
static const char *variable_of(void *context, const char *name, size_t length)
{
    const struct asking *asking = context;
    for (size_t i = 0; i < report_parameter_count(asking->report); i++)
        if (uri_part_is(asking->report->parameters[i].name, name, length))
            return asking->asked->texts[i];
    return uri_part_is("scheme", name, length) ? asking->scheme->code : NULL;
}

/* Leads a browser to the page that shows the report's figures. */
static void lead_to_page(const struct request *request, struct answer *answer, struct asking asking)
{
    struct buffer target;
    buffer_init(&target, 1024);
    const char *page = uri_expand(&target, asking.report->page, variable_of, &asking) && !target.failed
                           ? arena_copy(request->arena, target.data, target.length)
                           : NULL;
    buffer_dispose(&target);
    if (page != NULL)
        answer_lead_to(answer, page);
    else
        answer_store_failure(answer, STORE_UNAVAILABLE);
}

void handle_report_get(const struct request *request, struct answer *answer)
{
    struct report_asked asked = {.texts = {NULL}};
    const struct report *report = report_find(request->parts[0]);
    if (report == NULL) {
        answer_not_found(answer);
        return;
    }
    if ((report->roles & 1u << request->identity->role) == 0) {
        faults_add(&answer->faults, REASON_ROLE_NOT_ALLOWED, NULL, "the key's role may not read this report");
        return;
    }
    const struct scheme *scheme = request_scheme(request, answer, request_query(request, "scheme"));
    if (scheme == NULL || !parameters_known(request, answer, report) ||
        !arguments_asked(request, answer, report, scheme, &asked))
        return;
    if (report->page != NULL && answer->media == MEDIA_HTML)
        lead_to_page(request, answer, (struct asking){report, scheme, &asked});
    else
        answer_report(request, answer, report, scheme, &asked);
}
