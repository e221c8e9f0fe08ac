/* SPDX-License-Identifier: ISC */
/* The table of tasks, in the order of the morning: first what the day before left open, then the bank, then
 * money that waits for people, then facts that somebody should look at. */
#include "http/pages/page_tasks.h"

#include "http/request/json_body.h"
#include "report/html.h"

#include <stdio.h>
#include <string.h>

#define PAYMENTS "/v1/payments?scheme={scheme}"

static const struct page_task tasks[] = {
    {"days_not_closed", "Days to close", "The time to close them has passed, and they are not closed.",
     "/v1/schemes/{scheme}/days?missing=close", FOR_OFFICE},
    {"statements_missing", "Bank days without a statement",
     "Monday to Friday without holidays, after the closing balance of the last statement that was read.",
     "/v1/schemes/{scheme}/days?missing=statement", FOR_OFFICE},
    {"bank_lines_open", "Bank lines to resolve", "Nobody has said yet what they were for.",
     "/v1/bank-lines?scheme={scheme}&open=true", FOR_OFFICE},
    {"payments_held", "Held payments to look at", "They wait for a person to release or fail them.",
     PAYMENTS "&status=computed&held=true", FOR_OFFICE},
    {"payments_to_approve", "Payments to approve", "The close computed them, and they are not held.",
     PAYMENTS "&status=computed&held=false", FOR_OFFICE},
    {"payments_to_send", "Payments to send", "They are approved, and in no file for the bank.",
     PAYMENTS "&status=approved", FOR_OFFICE},
    {"payments_unconfirmed", "Payments sent, not confirmed", "The bank has not said yet that they were made.",
     PAYMENTS "&status=instructed", FOR_OFFICE},
    {"exceptions_open", "Exceptions to look at", "Recorded facts that a person should look at.",
     "/v1/reports/exceptions?scheme={scheme}&state=open&from={first_day}", FOR_OFFICE},
    {"openings_to_approve", "Openings to approve",
     "Another person proposed them. Nothing else is posted in the scheme until then.",
     "/v1/openings?scheme={scheme}&status=open&mine=false", FOR_OFFICE},
    {"journals_to_approve", "Journals to approve", "Another person proposed them.",
     "/v1/journals?scheme={scheme}&status=open&mine=false", FOR_OFFICE},
    {"proposals_to_approve", "Changes to approve", "Another person proposed them.",
     "/v1/proposals?status=open&mine=false", FOR_OFFICE},
    {"shipments_to_send", "Requested shipments to send", "Cups of them are still to be dispatched.",
     "/v1/shipments?scheme={scheme}&waits_for=sender", FOR_OFFICE},
    {"shipments_overdue", "Requested shipments that are overdue",
     "The day on which they were wanted has passed, and they have not arrived.",
     "/v1/shipments?scheme={scheme}&state=open&overdue=true", FOR_OFFICE},
    {"shipments_late", "Shipments that have not arrived", "Cups have been on the road for longer than a day.",
     "/v1/reports/transfers?scheme={scheme}&state=late", FOR_OFFICE},
    {"totals_missing", "Day totals that are missing",
     "Closed days that a till has not stated, though it has stated others in the month before.",
     "/v1/reports/day-totals?scheme={scheme}&state=missing&from={since}", FOR_OFFICE},
    {"sites_to_count", "Sites to count", "They trade, and nobody has counted them for long.",
     "/v1/reports/counts?scheme={scheme}&state=due&uncounted_since={count_before}", FOR_OFFICE},
    {"second_counts", "Counts to repeat",
     "They were off by more than the tolerance, and nobody has counted these cups there again.",
     "/v1/reports/second-counts?scheme={scheme}", FOR_OFFICE},
    {"openings_proposed", "Your openings that wait for another person", "You cannot approve them yourself.",
     "/v1/openings?scheme={scheme}&status=open&mine=true", FOR_STAFF},
    {"journals_proposed", "Your journals that wait for another person", "You cannot approve them yourself.",
     "/v1/journals?scheme={scheme}&status=open&mine=true", FOR_STAFF},
    {"proposals_made", "Your changes that wait for another person", "You cannot approve them yourself.",
     "/v1/proposals?status=open&mine=true", FOR_STAFF},
    {"payments_to_make", "Payments that you make", "They are not confirmed yet.",
     PAYMENTS "&waiting=true&side=payer&from={since}", FOR_PARTICIPANT},
    {"payments_to_get", "Payments that you get", "They are not confirmed yet.",
     PAYMENTS "&waiting=true&side=payee&from={since}", FOR_PARTICIPANT},
};

const struct page_task *page_tasks(size_t *count)
{
    *count = sizeof tasks / sizeof tasks[0];
    return tasks;
}

const struct page_task *page_task(const char *name)
{
    for (size_t i = 0; i < sizeof tasks / sizeof tasks[0]; i++)
        if (strcmp(tasks[i].name, name) == 0)
            return &tasks[i];
    return NULL;
}

/* --- the table of a page ------------------------------------------------------------------------------- */

/* The first row of a task says what it means. */
static void add_words(struct buffer *text, const json_t *row, bool first)
{
    const struct page_task *task = page_task(json_member_text(row, "task"));
    html_cell_begin(text, true, NULL);
    html_link(text, json_member_text(row, "href"),
              task != NULL ? task->words : json_member_text(row, "task"));
    if (first && task != NULL) {
        buffer_add_text(text, "<small>");
        html_word(text, task->meaning);
        buffer_add_text(text, "</small>");
    }
    html_cell_end(text, true);
}

static void add_integer(struct buffer *text, const json_t *value)
{
    char number[32];
    snprintf(number, sizeof number, "%lld", json_integer_value(value));
    html_figure(text, number);
}

/* The sum of money or of cups, with its unit. */
static void add_sum(struct buffer *text, const json_t *row)
{
    const json_t *cups = json_object_get(row, "cups");
    bool amount = *json_member_text(row, "amount") != '\0';
    html_cell_begin(text, false, "n");
    if (cups != NULL || amount)
        html_open(text, "a", "href", json_member_text(row, "href"));
    if (cups != NULL) {
        html_say_count(text, "%1 cups", json_integer_value(cups));
        buffer_add_text(text, "</a>");
    } else if (amount) {
        html_figure(text, json_member_text(row, "amount"));
        buffer_add_char(text, ' ');
        html_text(text, json_member_text(row, "currency"));
        buffer_add_text(text, "</a>");
    }
    html_cell_end(text, false);
}

static void add_scheme(struct buffer *text, const json_t *row)
{
    const json_t *schemes = json_object_get(row, "schemes");
    html_cell_begin(text, false, NULL);
    html_text(text, json_member_text(row, "scheme"));
    if (schemes != NULL && json_integer_value(schemes) == 1)
        html_say_count(text, "%1 scheme", 1);
    else if (schemes != NULL)
        html_say_count(text, "%1 schemes", json_integer_value(schemes));
    html_cell_end(text, false);
}

static void add_row(struct buffer *text, const json_t *row, bool first)
{
    buffer_add_text(text, "<tr>");
    add_words(text, row, first);
    html_cell_begin(text, false, "n");
    html_open(text, "a", "href", json_member_text(row, "href"));
    add_integer(text, json_object_get(row, "count"));
    buffer_add_text(text, "</a>");
    html_cell_end(text, false);
    add_sum(text, row);
    html_cell_begin(text, false, NULL);
    html_text(text, json_member_text(row, "since"));
    html_cell_end(text, false);
    add_scheme(text, row);
    buffer_add_text(text, "</tr>\n");
}

void page_layout_tasks(struct page_view *view, const json_t *rows)
{
    struct buffer *text = view->text;
    size_t index;
    json_t *row;
    const char *before = "";
    if (json_array_size(rows) == 0) {
        buffer_add_text(text, "<p class=\"none\">");
        html_word(text, "Nothing waits for you.");
        buffer_add_text(text, "</p>\n");
        return;
    }
    buffer_add_text(text, "<div class=\"tasks\">\n");
    html_table_begin(text, &(struct html_table){.caption = "To do"});
    html_column(text, "task", false);
    html_column(text, "how many", true);
    html_column(text, "sum", true);
    html_column(text, "since", false);
    html_column(text, "scheme", false);
    html_table_rows(text);
    json_array_foreach(rows, index, row)
    {
        add_row(text, row, strcmp(before, json_member_text(row, "task")) != 0);
        before = json_member_text(row, "task");
    }
    html_table_end(text);
    buffer_add_text(text, "</div>\n");
}
