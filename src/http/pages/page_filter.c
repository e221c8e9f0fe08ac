/* SPDX-License-Identifier: ISC */
/* The form sends parameters of the list's own route, so a page that it leads to is one that a client could
 * ask for. */
#include "http/pages/page_filter.h"

#include "app/cups/shipments.h"
#include "app/office/overview.h"
#include "http/pages/page_choices.h"
#include "http/request/route.h"
#include "report/html_fields.h"

#include <string.h>

enum { KIND_WORDS_MAX = KIND_LIMIT + 1 };

/* The scheme whose sites or participants there are to choose from; NULL: any. */
static const struct scheme *scheme_asked(const struct request *request)
{
    const char *code = request_query(request, "scheme");
    return code != NULL ? network_scheme(&request->snapshot->network, code) : NULL;
}

/* Adds a list of things that the key may know of. Too many are asked for by their code. */
static void add_things(struct page_view *view, const char *name, enum page_choice_of of, bool or_any)
{
    const struct request *request = view->request;
    const char *chosen = request_query(request, name);
    struct page_choices found;
    if (!page_choices(request, of, of == CHOOSE_SCHEME ? NULL : scheme_asked(request), &found)) {
        view->text->failed = true;
        return;
    }
    const struct html_choices choices = {found.codes, found.names};
    if (found.codes != NULL)
        html_select_field(view->text, name, &choices, chosen, or_any);
    else
        html_input_field(view->text, name, "text", chosen, !or_any);
}

static void add_words(struct page_view *view, const char *name, const char *const *words)
{
    const struct html_choices choices = {words, NULL};
    html_select_field(view->text, name, &choices, request_query(view->request, name), true);
}

static void add_kinds(struct page_view *view, const char *name)
{
    const char *words[KIND_WORDS_MAX];
    size_t count = 0;
    for (int kind = 1; kind < KIND_LIMIT; kind++)
        if (entry_kind_word((enum entry_kind)kind) != NULL)
            words[count++] = entry_kind_word((enum entry_kind)kind);
    words[count] = NULL;
    add_words(view, name, words);
}

/* A list of yes and no, which the address has as true and false. */
static void add_flag(struct page_view *view, const char *name)
{
    static const char *const flags[] = {"true", "false", NULL};
    add_words(view, name, flags);
}

static void add_field(struct page_view *view, const char *name)
{
    if (strcmp(name, "site") == 0)
        add_things(view, name, CHOOSE_SITE, true);
    else if (strcmp(name, "cup_type") == 0)
        add_things(view, name, CHOOSE_CUP_TYPE, true);
    else if (strcmp(name, "scheme") == 0)
        add_things(view, name, CHOOSE_SCHEME, true);
    else if (strcmp(name, "participant") == 0)
        add_things(view, name, CHOOSE_PARTICIPANT, true);
    else if (strcmp(name, "kind") == 0)
        add_kinds(view, name);
    else if (strcmp(name, "state") == 0)
        add_words(view, name, strcmp(view->about->schema, "Office") == 0 ? overview_states : shipment_states);
    else if (strcmp(name, "late") == 0 || strcmp(name, "overdue") == 0)
        add_flag(view, name);
    else
        html_input_field(view->text, name,
                         strcmp(name, "business_date") == 0 || strcmp(name, "date") == 0 ||
                                 strcmp(name, "rate_day") == 0
                             ? "date"
                             : "text",
                         request_query(view->request, name), false);
}

static bool is_filter(const struct page_about *about, const char *name)
{
    for (size_t i = 0; i < PAGE_FILTERS_MAX && about->filters[i] != NULL; i++)
        if (strcmp(about->filters[i], name) == 0)
            return true;
    return false;
}

/* Adds what the request asks for besides, so that a choice does not drop it. */
static void add_kept(struct page_view *view)
{
    const struct request *request = view->request;
    for (size_t i = 0; i < request->query_count; i++) {
        const struct query_parameter *asked = &request->query[i];
        if (!is_filter(view->about, asked->name) &&
            (page_is_asked(asked->name) || strcmp(asked->name, "format") == 0))
            html_kept_field(view->text, asked->name, asked->value);
    }
}

void page_filter(struct page_view *view)
{
    if (view->about->filters[0] == NULL)
        return;
    html_open(view->text, "form method=\"get\"", "action", view->request->path);
    buffer_add_char(view->text, '\n');
    add_kept(view);
    for (size_t i = 0; i < PAGE_FILTERS_MAX && view->about->filters[i] != NULL; i++)
        add_field(view, view->about->filters[i]);
    html_show_button(view->text);
    buffer_add_text(view->text, "</form>\n");
}
