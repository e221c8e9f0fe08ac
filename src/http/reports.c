/* SPDX-License-Identifier: ISC */
/* Reports: which there are, and one of them. Nothing here knows a report by name. */
#include "http/handlers.h"

#include "http/reading.h"
#include "report/render.h"

#include <string.h>

static void add_string(struct buffer *text, const char *value)
{
    buffer_add_json_string(text, value, strlen(value));
}

static void add_parameter(struct buffer *text, const char *name, const char *description, bool required)
{
    buffer_add_text(text, "{\"name\":");
    add_string(text, name);
    buffer_add_text(text, ",\"description\":");
    add_string(text, description);
    buffer_printf(text, ",\"required\":%s}", required ? "true" : "false");
}

static void add_report(struct buffer *text, const struct report *report)
{
    buffer_add_text(text, "{\"report\":");
    add_string(text, report->name);
    buffer_add_text(text, ",\"title\":");
    add_string(text, report->title);
    buffer_add_text(text, ",\"parameters\":[");
    add_parameter(text, "scheme", "Scheme", true);
    for (size_t i = 0; i < REPORT_PARAMETERS_MAX && report->parameters[i].name != NULL; i++) {
        const struct report_parameter *parameter = &report->parameters[i];
        buffer_add_char(text, ',');
        add_parameter(text, parameter->name, parameter->description, parameter->required);
    }
    buffer_add_text(text, "],\"columns\":[");
    for (size_t i = 0; i < report_column_count(report); i++) {
        buffer_add_text(text, i > 0 ? ",{\"name\":" : "{\"name\":");
        add_string(text, report->columns[i].name);
        buffer_printf(text, ",\"kind\":\"%s\",\"title\":", column_kind_word(report->columns[i].kind));
        add_string(text, report->columns[i].title);
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

static void add_to_body(void *context, const char *bytes, size_t length)
{
    buffer_add(context, bytes, length);
}

static void add_row(void *context, const char *const *cells)
{
    render_row(context, cells);
}

void answer_report(const struct request *request, struct answer *answer, const struct report *report,
                   const struct scheme *scheme, const struct date *dates)
{
    struct render render;
    struct visible_sites visible;
    char texts[REPORT_PARAMETERS_MAX][DATE_TEXT_MAX];
    struct report_head head = {.report = report, .scheme = scheme->code, .currency = scheme->currency->code};
    struct report_query query = {.sql = report->sql,
                                 .scheme = scheme->id,
                                 .dates = dates,
                                 .visible = report->by_site ? &visible : NULL,
                                 .column_count = report_column_count(report)};
    if (!request_visible(request, answer, &visible))
        return;
    for (; query.date_count < REPORT_PARAMETERS_MAX && report->parameters[query.date_count].name != NULL;
         query.date_count++) {
        date_format(dates[query.date_count], texts[query.date_count]);
        head.dates[query.date_count] = texts[query.date_count];
    }
    render_begin(&render, answer->media == MEDIA_CSV ? &render_csv : &render_json, &head,
                 (struct sink){add_to_body, &answer->body});
    enum store_result result = read_report(request->pg, request->arena, &query, add_row, &render);
    if (!render_end(&render))
        result = STORE_FAILED;
    if (result != STORE_OK)
        answer_store_failure(answer, result);
}

/* Each of the report's dates as asked for, or the day that contains now. */
static bool dates_asked(const struct request *request, struct answer *answer, const struct report *report,
                        const struct scheme *scheme, struct date dates[static REPORT_PARAMETERS_MAX])
{
    for (size_t i = 0; i < REPORT_PARAMETERS_MAX && report->parameters[i].name != NULL; i++) {
        const struct report_parameter *parameter = &report->parameters[i];
        bool given = request_query(request, parameter->name) != NULL;
        if (given && !request_date(request, answer, parameter->name, &dates[i]))
            return false;
        if (!given && parameter->required) {
            faults_add_parameter(&answer->faults, REASON_PARAMETER_MISSING, parameter->name, "is required");
            return false;
        }
        if (given)
            continue;
        enum store_result result = read_day_current(request->pg, scheme->id, &dates[i]);
        if (result != STORE_OK) {
            answer_store_failure(answer, result);
            return false;
        }
    }
    return true;
}

/* The route takes the parameters of all reports; one of another report's is a mistake. */
static bool parameters_known(const struct request *request, struct answer *answer,
                             const struct report *report)
{
    for (size_t i = 0; i < request->query_count; i++) {
        const char *name = request->query[i].name;
        bool known = strcmp(name, "scheme") == 0 || strcmp(name, "format") == 0;
        for (size_t p = 0; p < REPORT_PARAMETERS_MAX && report->parameters[p].name != NULL; p++)
            known = known || strcmp(name, report->parameters[p].name) == 0;
        if (!known)
            faults_add_parameter(&answer->faults, REASON_PARAMETER_UNKNOWN, name,
                                 "the report has no such parameter");
    }
    return answer->faults.count == 0;
}

void handle_report_get(const struct request *request, struct answer *answer)
{
    struct date dates[REPORT_PARAMETERS_MAX];
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
    if (scheme != NULL && parameters_known(request, answer, report) &&
        dates_asked(request, answer, report, scheme, dates))
        answer_report(request, answer, report, scheme, dates);
}
