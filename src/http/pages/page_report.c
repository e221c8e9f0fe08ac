/* SPDX-License-Identifier: ISC */
/* The choices in the form of a report, among the things that the key may know of. */
#include "http/pages/page_report.h"

#include "http/pages/page_acts.h"
#include "http/pages/page_names.h"
#include "http/pages/page_target.h"

/* A person does not look through a longer list, and a page of reports has many lists. A text field replaces a
 * longer list. */
enum { CHOICES_MAX = 200 };

/* The things that the choices come from. */
struct choosing {
    const struct request *request;
    const struct scheme *scheme; /* NULL: any */
    const bool *known;           /* whether the key knows the scheme, by scheme id */
};

/* The code of an item; NULL: it is not a choice. */
typedef const char *(*choice)(const struct choosing *of, size_t index);

static const char *scheme_choice(const struct choosing *of, size_t index)
{
    const struct scheme *each = &of->request->snapshot->network.schemes[index];
    return of->known[each->id] ? each->code : NULL;
}

static const char *site_choice(const struct choosing *of, size_t index)
{
    const struct site *site = &of->request->snapshot->network.sites[index];
    bool known = identity_has_site(of->request->identity, site) &&
                 (of->scheme == NULL || site->scheme == of->scheme->id);
    return known ? site->code : NULL;
}

static const char *participant_choice(const struct choosing *of, size_t index)
{
    const struct participant *participant = &of->request->snapshot->network.participants[index];
    const struct identity *identity = of->request->identity;
    return identity_has_all(identity) || identity->participant == participant->id ? participant->code : NULL;
}

static const char *cup_type_choice(const struct choosing *of, size_t index)
{
    return of->request->snapshot->network.cup_types[index].code;
}

/* *found is NULL-ended, or NULL if there are too many choices. False: out of memory. */
static bool choices(const struct choosing *of, choice each, size_t count, const char *const **found)
{
    const char **codes = arena_array(of->request->arena, CHOICES_MAX + 1, sizeof *codes);
    size_t code_count = 0;
    *found = codes;
    for (size_t i = 0; *found != NULL && i < count; i++) {
        const char *code = each(of, i);
        if (code != NULL && code_count == CHOICES_MAX)
            *found = NULL;
        else if (code != NULL)
            codes[code_count++] = code;
    }
    return codes != NULL;
}

/* False: out of memory. */
static bool find_choices(const struct choosing *of, const struct report_parameter *parameter,
                         const char *const **found)
{
    const struct network *network = &of->request->snapshot->network;
    *found = NULL;
    switch (parameter->kind) {
    case PARAMETER_DAY:
    case PARAMETER_ACCOUNT:
        return true;
    case PARAMETER_SITE:
        return choices(of, site_choice, network->site_count, found);
    case PARAMETER_PARTICIPANT:
        return choices(of, participant_choice, network->participant_count, found);
    case PARAMETER_CUP_TYPE:
        return choices(of, cup_type_choice, network->cup_type_count, found);
    case PARAMETER_CHOICE:
        *found = parameter->choices;
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
    const struct choosing of = {request, scheme, request_known_schemes(request)};
    bool found = of.known != NULL &&
                 choices(&of, scheme_choice, request->snapshot->network.scheme_count, &page->schemes);
    for (size_t i = 0; found && i < report_parameter_count(report); i++)
        found = find_choices(&of, &report->parameters[i], &page->choices[i]);
    for (size_t i = 0; i < report_column_count(report); i++)
        page->leads[i] = report->columns[i].link != NULL && page_leads(request, report->columns[i].link);
    return found && find_acts(request, report, page);
}
