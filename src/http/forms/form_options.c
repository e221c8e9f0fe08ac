/* SPDX-License-Identifier: ISC */
/* Fields are known by their names, which mean the same in all shapes. */
#include "http/forms/form_options.h"

#include "report/html.h"

#include <string.h>

static const struct {
    const char *name;
    const char *within; /* the beginning of its pointer; NULL: any */
    enum option_list list;
} fields[] = {
    {"scheme", NULL, OPTIONS_SCHEMES},
    {"home", NULL, OPTIONS_SCHEMES},
    {"host", NULL, OPTIONS_SCHEMES},
    {"signs_for", NULL, OPTIONS_SCHEMES},
    {"site", NULL, OPTIONS_SITES},
    {"sites", NULL, OPTIONS_SITES},
    {"to", NULL, OPTIONS_SITES},
    {"participant", NULL, OPTIONS_PARTICIPANTS},
    {"cup_type", NULL, OPTIONS_CUP_TYPES},
    {"account", "/legs/", OPTIONS_JOURNAL_ACCOUNTS},
    {"account", "/accounts/", OPTIONS_ACCOUNTS},
    {"effective_date", "", OPTIONS_DATES},
};

static const struct {
    const char *id;
    bool uses[CHOOSE_KINDS]; /* the things that it is made of */
    bool shrinks;            /* it is there also without things that are too many */
} lists[OPTIONS_COUNT] = {
    [OPTIONS_SCHEMES] = {"o-schemes", {[CHOOSE_SCHEME] = true}, false},
    [OPTIONS_SITES] = {"o-sites", {[CHOOSE_SITE] = true}, false},
    [OPTIONS_PARTICIPANTS] = {"o-participants", {[CHOOSE_PARTICIPANT] = true}, false},
    [OPTIONS_CUP_TYPES] = {"o-cup-types", {[CHOOSE_CUP_TYPE] = true}, false},
    [OPTIONS_JOURNAL_ACCOUNTS] = {"o-journal-accounts",
                                  {[CHOOSE_SITE] = true, [CHOOSE_PARTICIPANT] = true},
                                  true},
    [OPTIONS_ACCOUNTS] = {"o-accounts", {false}, true},
    [OPTIONS_DATES] = {"o-dates", {false}, true},
};

void form_options_begin(struct form_options *options, const struct request *request, const char *scheme,
                        const char *site)
{
    const struct network *network = &request->snapshot->network;
    const struct site *place = site != NULL ? network_site(network, site) : NULL;
    const struct scheme *found = scheme != NULL ? network_scheme(network, scheme)
                                 : place != NULL && identity_has_site(request->identity, place)
                                     ? network->scheme_by_id[place->scheme]
                                     : NULL;
    bool known = found != NULL && request_knows_scheme(request, found);
    *options = (struct form_options){.request = request, .scheme = known ? found : NULL};
}

/* Whether there are things to choose from. */
static bool find(struct form_options *options, enum page_choice_of of)
{
    bool by_scheme = of == CHOOSE_SITE || of == CHOOSE_PARTICIPANT;
    if (!options->found[of])
        options->found[of] =
            page_choices(options->request, of, by_scheme ? options->scheme : NULL, &options->things[of]);
    return options->found[of] && options->things[of].count > 0;
}

const char *form_options_list(struct form_options *options, const char *name, const char *pointer)
{
    enum option_list list = OPTIONS_NONE;
    for (size_t i = 0; i < sizeof fields / sizeof fields[0] && list == OPTIONS_NONE; i++)
        if (strcmp(fields[i].name, name) == 0 &&
            (fields[i].within == NULL || (*fields[i].within == '\0' && *pointer == '\0') ||
             (*fields[i].within != '\0' &&
              strncmp(pointer, fields[i].within, strlen(fields[i].within)) == 0)))
            list = fields[i].list;
    if (list == OPTIONS_NONE || (list == OPTIONS_DATES && options->scheme == NULL))
        return NULL;
    for (enum page_choice_of of = CHOOSE_SCHEME; of < CHOOSE_KINDS; of++)
        if (lists[list].uses[of] && !find(options, of) && !lists[list].shrinks)
            return NULL;
    options->wanted[list] = true;
    return lists[list].id;
}

/* --- the lists ----------------------------------------------------------------------------------------- */

static void begin_option(struct buffer *text, const char *value)
{
    html_open(text, "option", "value", value);
}

static void end_option(struct buffer *text)
{
    buffer_add_text(text, "</option>\n");
}

static void add_things(const struct page_choices *things, struct buffer *text)
{
    for (size_t i = 0; i < things->count; i++) {
        begin_option(text, things->codes[i]);
        html_text(text, things->names[i]);
        end_option(text);
    }
}

/* An account of each thing, as site_clearing(anchor). */
static void add_owned(enum account_kind kind, const struct page_choices *owners, struct buffer *text)
{
    for (size_t i = 0; i < owners->count; i++) {
        buffer_printf(text, "<option value=\"%s(%s)\">", account_kind_word(kind), owners->codes[i]);
        html_label(text, account_kind_word(kind));
        buffer_add_text(text, ": ");
        html_text(text, owners->names[i]);
        end_option(text);
    }
}

static void add_kind(enum account_kind kind, struct buffer *text)
{
    html_option(text, account_kind_word(kind), account_kind_word(kind), false);
    buffer_add_char(text, '\n');
}

static void add_journal_accounts(const struct form_options *options, struct buffer *text)
{
    const struct page_choices *sites = &options->things[CHOOSE_SITE];
    const struct page_choices *participants = &options->things[CHOOSE_PARTICIPANT];
    size_t owned = sites->count + participants->count;
    for (enum account_kind kind = ACCOUNT_NONE; kind < ACCOUNT_FIRST_CUPS; kind++) {
        if (account_kind_word(kind) == NULL || !account_kind_takes_journals(kind))
            continue;
        if (account_kind_scope(kind) == SCOPE_SCHEME)
            add_kind(kind, text);
        else if (account_kind_scope(kind) == SCOPE_SITE && owned <= PAGE_CHOICES_MAX)
            add_owned(kind, sites, text);
        else if (account_kind_scope(kind) == SCOPE_PARTICIPANT && owned <= PAGE_CHOICES_MAX)
            add_owned(kind, participants, text);
    }
}

static void add_accounts(struct buffer *text)
{
    for (enum account_kind kind = ACCOUNT_NONE; kind < ACCOUNT_FIRST_CUPS; kind++)
        if (account_kind_word(kind) != NULL)
            add_kind(kind, text);
}

static void add_dates(const struct scheme *scheme, struct buffer *text)
{
    char date[DATE_TEXT_MAX];
    size_t first = scheme->terms_count > PAGE_CHOICES_MAX ? scheme->terms_count - PAGE_CHOICES_MAX : 0;
    for (size_t i = first; i < scheme->terms_count; i++) {
        date_format(scheme->terms[i].from, date);
        begin_option(text, date);
        html_plain_word(text, "Terms hold from then");
        end_option(text);
    }
}

static void add_list(const struct form_options *options, enum option_list list, struct buffer *text)
{
    switch (list) {
    case OPTIONS_SCHEMES:
        add_things(&options->things[CHOOSE_SCHEME], text);
        break;
    case OPTIONS_SITES:
        add_things(&options->things[CHOOSE_SITE], text);
        break;
    case OPTIONS_PARTICIPANTS:
        add_things(&options->things[CHOOSE_PARTICIPANT], text);
        break;
    case OPTIONS_CUP_TYPES:
        add_things(&options->things[CHOOSE_CUP_TYPE], text);
        break;
    case OPTIONS_JOURNAL_ACCOUNTS:
        add_journal_accounts(options, text);
        break;
    case OPTIONS_ACCOUNTS:
        add_accounts(text);
        break;
    case OPTIONS_DATES:
        add_dates(options->scheme, text);
        break;
    case OPTIONS_NONE:
    case OPTIONS_COUNT:
        break;
    }
}

void form_options_write(const struct form_options *options, struct buffer *text)
{
    for (enum option_list list = OPTIONS_NONE; list < OPTIONS_COUNT; list++) {
        if (!options->wanted[list])
            continue;
        html_open(text, "datalist", "id", lists[list].id);
        buffer_add_char(text, '\n');
        add_list(options, list, text);
        buffer_add_text(text, "</datalist>\n");
    }
}
