/* SPDX-License-Identifier: ISC */
/* The choices in the form of a report, among the things that the key may know of. */
#include "http/pages/page_report.h"

#include "http/pages/page_acts.h"
#include "http/pages/page_choices.h"
#include "http/pages/page_names.h"
#include "http/pages/page_target.h"

#include <string.h>

/* No codes if there are too many. False: out of memory. */
static bool find_codes(const struct request *request, enum page_choice_of of, const struct scheme *scheme,
                       struct html_choices *found)
{
    struct page_choices choices;
    bool whole = page_choices(request, of, of == CHOOSE_SITE ? scheme : NULL, &choices);
    *found = whole ? (struct html_choices){choices.codes, choices.names} : (struct html_choices){NULL, NULL};
    return whole;
}

/* False: out of memory. */
static bool find_choices(const struct request *request, const struct scheme *scheme,
                         const struct report_parameter *parameter, struct html_choices *found)
{
    *found = (struct html_choices){NULL, NULL};
    switch (parameter->kind) {
    case PARAMETER_DAY:
    case PARAMETER_ACCOUNT:
        return true;
    case PARAMETER_SITE:
        return find_codes(request, CHOOSE_SITE, scheme, found);
    case PARAMETER_PARTICIPANT:
        return find_codes(request, CHOOSE_PARTICIPANT, scheme, found);
    case PARAMETER_CUP_TYPE:
        return find_codes(request, CHOOSE_CUP_TYPE, scheme, found);
    case PARAMETER_CHOICE:
        found->codes = parameter->choices;
        return true;
    }
    return false;
}

/* Adds links to what can be done with the report's rows. False: out of memory. */
static bool find_acts(const struct request *request, const struct report *report, struct report_page *page)
{
    struct buffer text;
    json_t *object = json_pack("{s:s}", "report", report->name);
    const struct page_scope scope = {.object = object};
    const struct page_view view = {.request = request, .about = page_about("Report"), .text = &text};
    buffer_init(&text, 16384);
    text.words = request->words;
    page_row_acts(&view, "rows", &scope);
    page->acts = text.length > 0 ? arena_copy(request->arena, text.data, text.length) : NULL;
    bool whole = object != NULL && !text.failed && (text.length == 0 || page->acts != NULL);
    buffer_dispose(&text);
    json_decref(object);
    return whole;
}

static const char *name_of(const void *reader, const char *column, const char *code)
{
    return page_name_of(reader, column, code);
}

/* The values are codes and ids, which need no encoding of their own within the fields that the link fills in.
 */
#define ARRIVAL(kind)                                                                                        \
    "/forms/postEvents?target=%2Fv1%2Fevents&fill=kind%3D" kind "%26%2Fdispatch%3D{event_id}"                \
    "&back=%2Fv1%2Freports%2Ftransfers%3Fscheme%3D{scheme}"

#define COUNTING(report, more)                                                                               \
    "/forms/postEvents?target=%2Fv1%2Fevents&fill=kind%3Dcount%26%2Fsite%3D{site}" more                      \
    "&back=%2Fv1%2Freports%2F" report "%3Fscheme%3D{scheme}"

static const struct {
    const char *report;
    enum entry_kind kind; /* that the link's form posts */
    struct report_act act;
} row_acts[] = {
    {"transfers", KIND_RECEIPT, {"Receive", ARRIVAL("receipt"), "in_transit"}},
    {"transfers", KIND_TRANSIT_LOSS, {"Lost", ARRIVAL("transit_loss"), "in_transit"}},
    {"transfers", KIND_RECEIPT, {"Receive", ARRIVAL("receipt"), "on_the_way"}},
    {"transfers", KIND_TRANSIT_LOSS, {"Lost", ARRIVAL("transit_loss"), "on_the_way"}},
    {"damaged-cups",
     KIND_DISPATCH,
     {"Send",
      "/forms/postEvents?target=%2Fv1%2Fevents&fill=kind%3Ddispatch%26%2Fsite%3D{site}"
      "%26rows%3A%2Fcups%3D1%26%2Fcups%2F0%2Fcup_type%3D{cup_type}%26%2Fcups%2F0%2Fcondition%3Ddamaged"
      "%26%2Fcups%2F0%2Fquantity%3D{cups}&back=%2Fv1%2Freports%2Fdamaged-cups%3Fscheme%3D{scheme}",
      "cups"}},
    {"counts", KIND_COUNT, {"Enter a count", COUNTING("counts", ""), "days"}},
    {"second-counts",
     KIND_COUNT,
     {"Enter a count",
      COUNTING("second-counts", "%26rows%3A%2Fcups%3D1%26%2Fcups%2F0%2Fcup_type%3D{cup_type}"),
      "difference"}},
};

/* Finds what the person may do with each row. False: out of memory. */
static bool find_row_acts(const struct request *request, const struct report *report,
                          struct report_page *page)
{
    enum { COUNT = sizeof row_acts / sizeof row_acts[0] };
    size_t found = 0;
    const struct report_act **acts = arena_array(request->arena, COUNT + 1, sizeof(struct report_act *));
    for (size_t i = 0; acts != NULL && request->session != 0 && i < COUNT; i++)
        if (strcmp(row_acts[i].report, report->name) == 0 &&
            (entry_kind_posters(row_acts[i].kind) & 1u << request->identity->role) != 0)
            acts[found++] = &row_acts[i].act;
    page->row_acts = found > 0 ? acts : NULL;
    return acts != NULL;
}

static bool column_leads(const struct request *request, const struct report_column *column)
{
    return column->link != NULL && page_leads(request, column->link) &&
           (column->or_link == NULL || page_leads(request, column->or_link));
}

bool page_of_report(const struct request *request, const struct scheme *scheme, const struct report *report,
                    struct report_page *page)
{
    struct html_page starts = {.page_count = 0};
    if (!page_find_starts(request, NULL, &starts))
        return false;
    *page = (struct report_page){.words = request->words,
                                 .pages = starts.pages,
                                 .page_count = starts.page_count,
                                 .signed_in = starts.signed_in,
                                 .made = starts.made};
    page->name_of = name_of;
    page->reader = request;
    page->note = page_report_note(report->name);
    bool found = find_codes(request, CHOOSE_SCHEME, NULL, &page->schemes);
    for (size_t i = 0; found && i < report_parameter_count(report); i++)
        found = find_choices(request, scheme, &report->parameters[i], &page->choices[i]);
    for (size_t i = 0; i < report_column_count(report); i++)
        page->leads[i] = column_leads(request, &report->columns[i]);
    return found && find_acts(request, report, page) && find_row_acts(request, report, page);
}
