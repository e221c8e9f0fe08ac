/* SPDX-License-Identifier: ISC */
/* The table of choices. The body's list has only the rows that were checked, so a fault's pointer counts
 * these. */
#include "http/forms/form_choice.h"

#include "http/forms/form_json.h"
#include "http/pages/page_problem.h"
#include "http/request/json_body.h"
#include "report/html.h"

#include <stdio.h>
#include <string.h>

static const struct form_choice choices[] = {
    {"approveSettlement",
     "/payments",
     "payments",
     "payment_id",
     "status",
     "computed",
     "amount",
     true,
     false,
     {"from", "to", "amount", "due_on", "approvals", "held"}},
    {"resolveExceptions",
     "/ids",
     "items",
     "exception_id",
     "state",
     "open",
     NULL,
     false,
     true,
     {"date", "kind", "site", "cup_type", "quantity", "amount", "entry"}},
};

const struct form_choice *form_choice_of(const struct route *route)
{
    for (size_t i = 0; route->id != NULL && i < sizeof choices / sizeof choices[0]; i++)
        if (strcmp(choices[i].operation, route->id) == 0)
            return &choices[i];
    return NULL;
}

/* --- a row -----------------------------------------------------------------------------------------------
 */

/* The place of the value among those that were chosen; -1: it was not. */
static int place_of(const json_t *chosen, const char *value)
{
    size_t index;
    json_t *each;
    json_array_foreach(chosen, index,
                       each) if (strcmp(json_string_value(each), value) == 0) return (int)index;
    return -1;
}

static const struct fault *fault_of(const struct form_choice *choice, const struct faults *faults, int place)
{
    char pointer[FORM_POINTER_MAX];
    snprintf(pointer, sizeof pointer, "%s/%d", choice->pointer, place);
    for (size_t i = 0; place >= 0 && i < faults->count; i++)
        if (fault_where(&faults->items[i]) != NULL && strcmp(fault_where(&faults->items[i]), pointer) == 0)
            return &faults->items[i];
    return NULL;
}

static void add_value(struct buffer *text, const char *of, const json_t *value)
{
    const char *name;
    json_t *member;
    if (json_is_string(value))
        html_is_figure(json_string_value(value)) ? html_figure(text, json_string_value(value))
                                                 : html_value(text, of, json_string_value(value));
    else if (json_is_integer(value))
        buffer_printf(text, "%" JSON_INTEGER_FORMAT, json_integer_value(value));
    else if (json_is_boolean(value))
        html_word(text, json_is_true(value) ? "yes" : "no");
    json_object_foreach((json_t *)value, name, member)
    {
        html_label(text, name);
        buffer_add_text(text, ": ");
        add_value(text, name, member);
        buffer_add_char(text, ' ');
    }
}

static void add_box(const struct form_choice *choice, const char *value, size_t number, bool checked,
                    struct buffer *text)
{
    buffer_printf(text, "<td><input type=\"checkbox\" id=\"f%s/%zu\" name=\"%s/%zu\" value=\"",
                  choice->pointer, number, choice->pointer, number);
    html_text(text, value);
    buffer_add_text(text, checked ? "\" checked aria-label=\"" : "\" aria-label=\"");
    html_text(text, value);
    buffer_add_text(text, "\"></td>");
}

static void add_row(const struct form_choice *choice, const json_t *row, size_t number, const json_t *chosen,
                    const struct faults *faults, struct buffer *text)
{
    const char *value = json_member_text(row, choice->value);
    int place = place_of(chosen, value);
    const struct fault *fault = fault_of(choice, faults, place);
    buffer_add_text(text, "<tr>");
    add_box(choice, value, number, chosen != NULL ? place >= 0 : choice->checked, text);
    for (size_t i = 0; i < CHOICE_COLUMNS_MAX && choice->columns[i] != NULL; i++) {
        const json_t *cell = json_object_get(row, choice->columns[i]);
        bool figure = json_is_number(cell) || html_is_figure(json_member_text(row, choice->columns[i]));
        html_cell_begin(text, false, figure ? "n" : NULL);
        add_value(text, choice->columns[i], cell);
        html_cell_end(text, false);
    }
    buffer_add_text(text, "<td>");
    if (fault != NULL) {
        buffer_add_text(text, "<strong>");
        page_fault(text, fault);
        buffer_add_text(text, "</strong>");
    }
    buffer_add_text(text, "</td></tr>\n");
}

/* --- all rows --------------------------------------------------------------------------------------------
 */

static bool is_choice(const struct form_choice *choice, const json_t *row)
{
    return choice->when == NULL || strcmp(json_member_text(row, choice->when), choice->is) == 0;
}

/* All amounts are of one currency and none is negative, so their digits can be added. A sum that is too large
 * is left out. */
static void add_sum(const struct form_choice *choice, const json_t *rows, struct buffer *text)
{
    size_t index, decimals = 0;
    json_t *row;
    long long sum = 0, power = 1;
    json_array_foreach(rows, index, row)
    {
        const char *amount = is_choice(choice, row) ? json_member_text(row, choice->sum) : "";
        const char *point = strchr(amount, '.');
        long long units = 0;
        for (const char *at = amount; *at != '\0'; at++)
            units = *at >= '0' && *at <= '9' ? units * 10 + (*at - '0') : units;
        if (__builtin_add_overflow(sum, units, &sum))
            return;
        decimals = point != NULL ? strlen(point + 1) : decimals;
    }
    for (size_t i = 0; i < decimals; i++)
        power *= 10;
    char figure[48];
    if (decimals > 0)
        snprintf(figure, sizeof figure, "%lld.%0*lld", sum / power, (int)decimals, sum % power);
    else
        snprintf(figure, sizeof figure, "%lld", sum);
    buffer_add_text(text, "<p>");
    html_word(text, "Sum of all:");
    buffer_add_text(text, " <b>");
    html_figure(text, figure);
    buffer_add_text(text, "</b></p>\n");
}

void form_choice_rows(const struct form_choice *choice, const json_t *thing, const json_t *chosen,
                      const struct faults *faults, struct buffer *text)
{
    const json_t *rows = json_object_get(thing, choice->rows);
    size_t index, number = 0;
    json_t *row;
    html_table_begin(text, &(struct html_table){.name = choice->pointer + 1});
    html_column(text, "choose", false);
    for (size_t i = 0; i < CHOICE_COLUMNS_MAX && choice->columns[i] != NULL; i++)
        html_column(text, choice->columns[i], false);
    html_column(text, "fault", false);
    json_array_foreach(rows, index, row)
    {
        if (number == FORM_ROWS_MAX || !is_choice(choice, row))
            continue;
        if (number == 0)
            html_table_rows(text);
        add_row(choice, row, number++, chosen, faults, text);
    }
    if (number > 0)
        html_table_end(text);
    else
        html_table_end_empty(text);
    buffer_printf(text, "<input type=\"hidden\" name=\"" FORM_CHOICE "%s\" value=\"%zu\">\n", choice->pointer,
                  number);
    if (choice->sum != NULL)
        add_sum(choice, rows, text);
}
