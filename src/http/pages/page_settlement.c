/* SPDX-License-Identifier: ISC */
/* A settlement, read from one side: by the office for the pool, or by a participant. The JSON has the pool's
 * side, and states refunds without a sign; on the page each row adds up as it stands. */
#include "http/pages/page_settlement.h"

#include "depositd/payment.h"
#include "http/pages/page_amounts.h"
#include "http/request/json_body.h"
#include "report/html.h"
#include "words/dates.h"

#include <stdio.h>
#include <string.h>

static bool is_participants(const struct page_view *view)
{
    return role_reach(view->request->identity->role) == REACH_PARTICIPANT;
}

/* --- rows ---------------------------------------------------------------------------------------------- */

/* A column of a site's line or of a participant's: its member in the JSON, whether the member has the sign of
 * what the pool is to receive, and its name on the page. */
struct figure {
    const char *member;
    bool receives;
    const char *name;
};

static const struct figure site_figures[] = {
    {"brought_forward", true, "brought_forward"},
    {"collected", true, "collected"},
    {"refunded", false, "refunded"},
    {"fees", true, "fees"},
    {"tax", true, "tax"},
    {"stock", true, "stock"},
    {"other", true, "other"},
    {"net", true, "net"},
};
static const struct figure own_figures[] = {
    {"arrears", true, "arrears"},
    {"amount", true, "position"},
};
enum {
    SITE_FIGURES = sizeof site_figures / sizeof site_figures[0],
    OWN_FIGURES = sizeof own_figures / sizeof own_figures[0]
};

static bool add_figures(json_t *row, const json_t *from, const struct figure *figures, size_t count,
                        bool participants)
{
    bool added = true;
    for (size_t i = 0; added && i < count; i++) {
        json_t *amount = json_object_get(from, figures[i].member);
        bool turned = figures[i].receives == participants;
        added = json_object_set_new(row, figures[i].name,
                                    turned ? page_turned(amount) : json_incref(amount)) == 0;
    }
    return added;
}

/* A row with a copy of the member that names it. NULL: out of memory. */
static json_t *row_of(const json_t *from, const char *name)
{
    json_t *row = json_object();
    if (row != NULL && json_object_set(row, name, json_object_get(from, name)) != 0) {
        json_decref(row);
        return NULL;
    }
    return row;
}

/* NULL: out of memory. */
static json_t *site_rows(const json_t *sites, bool participants)
{
    json_t *rows = json_array(), *site;
    size_t index;
    bool added = rows != NULL;
    json_array_foreach(sites, index, site)
    {
        json_t *row = added ? row_of(site, "site") : NULL;
        added = row != NULL && add_figures(row, site, site_figures, SITE_FIGURES, participants);
        added = json_array_append_new(rows, row) == 0 && added;
    }
    if (added)
        return rows;
    json_decref(rows);
    return NULL;
}

static json_t *position_row(const json_t *position, bool participants)
{
    json_t *row = row_of(position, "participant");
    bool added =
        row != NULL &&
        json_object_set_new(row, "sites", site_rows(json_object_get(position, "sites"), participants)) == 0 &&
        add_figures(row, position, own_figures, OWN_FIGURES, participants);
    if (added && json_is_true(json_object_get(position, "carried_forward")))
        added = json_object_set_new(row, "carried_forward", json_true()) == 0;
    if (added)
        return row;
    json_decref(row);
    return NULL;
}

static void add_positions(struct page_view *view, const struct page_scope *scope)
{
    json_t *rows = json_array(), *position;
    size_t index;
    bool added = rows != NULL;
    json_array_foreach(json_object_get(scope->object, "positions"), index, position) added =
        added && json_array_append_new(rows, position_row(position, is_participants(view))) == 0;
    if (!added)
        view->text->failed = true;
    else if (json_array_size(rows) > 0)
        page_table(view, scope, "positions", rows);
    json_decref(rows);
}

/* --- totals by meaning --------------------------------------------------------------------------------- */

static const char *amount_in(const json_t *totals, const char *name)
{
    const char *amount = json_string_value(json_object_get(totals, name));
    return amount != NULL ? amount : "0";
}

static void begin_totals(struct page_view *view, const char *caption, const char *first, const char *second,
                         const char *currency)
{
    html_table_begin(view->text, &(struct html_table){.caption = caption});
    html_column(view->text, first, false);
    if (second != NULL)
        html_column(view->text, second, true);
    html_column_in(view->text, "amount", "n", currency);
    html_table_rows(view->text);
}

/* `count` NULL: the table has no such column. `target` NULL: the figures lead nowhere. */
struct totals_row {
    const char *words, *count, *amount, *target;
    bool is_total;
};

static void add_linked(struct page_view *view, const char *figure, const char *target)
{
    html_cell_begin(view->text, false, "n");
    if (html_is_zero(figure)) {
        html_nothing(view->text, figure);
    } else {
        if (target != NULL)
            html_open(view->text, "a", "href", target);
        html_figure(view->text, figure);
        if (target != NULL)
            buffer_add_text(view->text, "</a>");
    }
    html_cell_end(view->text, false);
}

static void add_totals_row(struct page_view *view, const struct totals_row *row)
{
    buffer_add_text(view->text, row->is_total ? "<tr class=\"total\">" : "<tr>");
    html_cell_begin(view->text, true, NULL);
    html_word(view->text, row->words);
    html_cell_end(view->text, true);
    if (row->count != NULL)
        add_linked(view, row->count, row->target);
    add_linked(view, row->amount, row->target);
    buffer_add_text(view->text, "</tr>\n");
}

/* An amount of the totals; `turned`: with the other sign. */
static void add_meaning(struct page_view *view, const json_t *totals, const char *words, const char *member,
                        bool turned)
{
    json_t *other = turned ? page_turned(json_object_get(totals, member)) : NULL;
    const char *amount = other != NULL ? json_string_value(other) : amount_in(totals, member);
    add_totals_row(view, &(struct totals_row){.words = words, .amount = amount});
    json_decref(other);
}

static void add_meanings(struct page_view *view, const struct page_scope *scope)
{
    const json_t *totals = json_object_get(scope->object, "totals");
    char sum[MONEY_TEXT_MAX] = "";
    begin_totals(view, "What this close settles", "what", NULL, page_currency(scope));
    add_meaning(view, totals, "To collect from participants", "to_collect", false);
    add_meaning(view, totals, "To pay out to participants", "to_pay_out", true);
    if (!html_is_zero(amount_in(totals, "carried_owed")))
        add_meaning(view, totals, "Carried forward, owed by participants", "carried_owed", false);
    if (!html_is_zero(amount_in(totals, "carried_owing")))
        add_meaning(view, totals, "Carried forward, owed to participants", "carried_owing", true);
    html_table_foot(view->text);
    if (page_sum(json_object_get(scope->object, "positions"), NULL, "amount", sum))
        add_totals_row(view, &(struct totals_row){"Sum of all positions", NULL, sum, NULL, true});
    html_table_end_foot(view->text);
}

#define OF_NETTING "/v1/payments?scheme={scheme}&from={date}&to={date}&to_pools=false"

static void add_status(struct page_view *view, const struct page_scope *scope, const char *words,
                       const char *status)
{
    char count[24];
    struct buffer target;
    const json_t *totals = json_object_get(scope->object, "totals"), *sum = totals, *here;
    if (status != NULL)
        sum = json_object_get(json_object_get(totals, "by_status"), status);
    json_t *asked = json_pack("{s:s?}", "status", status);
    const struct page_scope inner = {.object = asked, .outer = scope};
    here = json_object_get(sum, "payments");
    snprintf(count, sizeof count, "%lld", json_integer_value(here));
    buffer_init(&target, 1024);
    bool leads = page_target(view->request, &inner,
                             status != NULL ? OF_NETTING "&status={status}" : OF_NETTING, &target);
    add_totals_row(view,
                   &(struct totals_row){words, count, amount_in(sum, status != NULL ? "amount" : "paid"),
                                        leads ? target.data : NULL, status == NULL});
    buffer_dispose(&target);
    json_decref(asked);
}

static void add_statuses(struct page_view *view, const struct page_scope *scope)
{
    static const char *const words[PAYMENT_STATUSES] = {[PAYMENT_COMPUTED] = "Waiting for approval",
                                                        [PAYMENT_APPROVED] = "Approved, not sent",
                                                        [PAYMENT_INSTRUCTED] = "Sent, not confirmed",
                                                        [PAYMENT_CONFIRMED] = "Confirmed",
                                                        [PAYMENT_FAILED] = "Failed"};
    begin_totals(view, "How far the payments are", "state", "payments", page_currency(scope));
    for (size_t i = 0; i < PAYMENT_STATUSES; i++)
        add_status(view, scope, words[i], payment_status_word((enum payment_status)i));
    html_table_foot(view->text);
    add_status(view, scope, "All payments", NULL);
    html_table_end_foot(view->text);
}

/* --- words for a participant --------------------------------------------------------------------------- */

static bool is_own(const struct page_view *view, const json_t *payment, const char *side)
{
    const struct participant *participant =
        network_participant(&view->request->snapshot->network, json_member_text(payment, side));
    return participant != NULL && participant->id == view->request->identity->participant;
}

/* The sentence about a payment: its amount, currency and day. */
static const char *payment_words(const json_t *payment, bool receives)
{
    enum payment_status status;
    if (!payment_status_parse(json_member_text(payment, "status"), &status))
        return "";
    switch (status) {
    case PAYMENT_COMPUTED:
    case PAYMENT_APPROVED:
    case PAYMENT_INSTRUCTED:
        return receives ? "You will receive %1 %2 on %3" : "You will pay %1 %2 on %3";
    case PAYMENT_CONFIRMED:
        return receives ? "You have received %1 %2, due on %3" : "You have paid %1 %2, due on %3";
    case PAYMENT_FAILED:
        return receives ? "A payment to you failed, and goes into the next settlement: %1 %2, due on %3"
                        : "A payment by you failed, and goes into the next settlement: %1 %2, due on %3";
    case PAYMENT_STATUSES:
        break;
    }
    return "";
}

/* Adds a sentence with an amount, its currency, and a day in words. */
static void add_amount_in_words(struct page_view *view, const char *words, const char *amount,
                                const char *currency, const char *date)
{
    struct buffer day;
    buffer_init(&day, 128);
    day.words = view->text->words;
    words_date(&day, date, false);
    html_say_figure(view->text, words, amount + (*amount == '-'), currency != NULL ? currency : "",
                    day.data != NULL ? day.data : "");
    buffer_dispose(&day);
}

/* Whether both are made by, or to, the reader, on the same day, and are equally far. */
static bool are_alike(const struct page_view *view, const json_t *a, const json_t *b)
{
    bool receives = is_own(view, a, "to");
    return receives == is_own(view, b, "to") &&
           strcmp(json_member_text(a, "due_on"), json_member_text(b, "due_on")) == 0 &&
           strcmp(payment_words(a, receives), payment_words(b, receives)) == 0;
}

static void add_number_of_payments(struct buffer *text, size_t count)
{
    char number[24];
    if (count < 2)
        return;
    snprintf(number, sizeof number, "%zu", count);
    buffer_add_char(text, ' ');
    html_say(text, "These are %1 payments.", number);
}

/* One sentence for all payments that are like this one. The first of them says it. */
static void add_payment_words(struct page_view *view, const struct page_scope *scope, size_t index)
{
    const json_t *payments = json_object_get(scope->object, "payments"), *payment;
    const json_t *first = json_array_get(payments, index);
    char sum[MONEY_TEXT_MAX] = "";
    json_t *alike = json_array();
    size_t other;
    json_array_foreach(payments, other, payment)
    {
        if (!are_alike(view, first, payment))
            continue;
        if (other < index || json_array_append(alike, (json_t *)payment) != 0)
            break;
    }
    if (json_array_get(alike, 0) == first && page_sum(alike, NULL, "amount", sum)) {
        buffer_add_text(view->text, "<p class=\"due\">");
        add_amount_in_words(view, payment_words(first, is_own(view, first, "to")), sum, page_currency(scope),
                            json_member_text(first, "due_on"));
        buffer_add_char(view->text, '.');
        add_number_of_payments(view->text, json_array_size(alike));
        buffer_add_text(view->text, "</p>\n");
    }
    json_decref(alike);
}

/* A position without a payment, in words. */
static void add_unpaid_words(struct page_view *view, const struct page_scope *scope)
{
    const json_t *position = json_array_get(json_object_get(scope->object, "positions"), 0);
    const char *amount = json_member_text(position, "amount"),
               *pay_day = json_member_text(scope->object, "next_pay_day");
    bool carried = json_is_true(json_object_get(position, "carried_forward"));
    buffer_add_text(view->text, "<p class=\"due\">");
    if (!carried || html_is_zero(amount))
        html_word(view->text, "Nothing is due.");
    else if (*pay_day == '\0')
        add_amount_in_words(view,
                            *amount == '-' ? "You are owed %1 %2, carried forward to a later settlement."
                                           : "You owe %1 %2, carried forward to a later settlement.",
                            amount, page_currency(scope), "");
    else
        add_amount_in_words(view,
                            *amount == '-' ? "You are owed %1 %2, carried forward to the pay day on %3."
                                           : "You owe %1 %2, carried forward to the pay day on %3.",
                            amount, page_currency(scope), pay_day);
    buffer_add_text(view->text, "</p>\n");
}

static void add_words(struct page_view *view, const struct page_scope *scope)
{
    size_t count = json_array_size(json_object_get(scope->object, "payments"));
    for (size_t i = 0; i < count; i++)
        add_payment_words(view, scope, i);
    if (count == 0)
        add_unpaid_words(view, scope);
}

/* --- the page ------------------------------------------------------------------------------------------ */

/* The members of these names, as the page of any other answer would show them. */
static void add_members(struct page_view *view, const json_t *settlement, const char *const *names)
{
    json_t *members = json_object();
    for (; *names != NULL; names++) {
        json_t *value = json_object_get(settlement, *names);
        if (value != NULL && json_object_set(members, *names, value) != 0)
            view->text->failed = true;
    }
    const struct page_scope scope = {.object = members};
    page_object(view, &scope);
    json_decref(members);
}

static bool pays_other_pools(const json_t *payments)
{
    size_t i;
    const json_t *payment;
    json_array_foreach(payments, i, payment) if (json_object_get(payment, "agreed") != NULL) return true;
    return false;
}

void page_settlement(struct page_view *view, const struct page_scope *scope)
{
    static const char *const facts[] = {"currency",         "closed_at",    "closed_by",
                                        "approvals_needed", "next_pay_day", NULL};
    static const char *const seal[] = {"seal", NULL};
    const json_t *payments = json_object_get(scope->object, "payments");
    if (is_participants(view))
        add_words(view, scope);
    add_members(view, scope->object, facts);
    if (!is_participants(view)) {
        add_meanings(view, scope);
        add_statuses(view, scope);
    }
    add_positions(view, scope);
    html_note(view->text, is_participants(view)
                              ? "Amounts that you are to receive are positive, amounts that you are to pay "
                                "have a minus. Each row adds up."
                              : "Amounts that the pool is to receive are positive, amounts that it is to pay "
                                "have a minus. Each row adds up.");
    if (json_array_size(payments) > 0)
        page_table(view, scope, "payments", payments);
    if (pays_other_pools(payments))
        html_note(view->text,
                  "Payments to another scheme's pool stand beside the netting and are not counted "
                  "in the totals above. The person who signed the agreement releases them.");
    add_members(view, scope->object, seal);
}
