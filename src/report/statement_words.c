/* SPDX-License-Identifier: ISC */
/* The sentences of a statement of account, to its owner, about the amounts that are due. */
#include "report/statement_words.h"

#include "depositd/money.h"
#include "words/dates.h"

#include <stdio.h>
#include <string.h>

const char *statement_cell(const struct render *render, const struct statement_row *row, const char *name)
{
    const char *text = render_cell(render, row->cells, name);
    return text != NULL ? text : "";
}

bool statement_is_in(const struct render *render, const struct statement_row *row, const char *section)
{
    return strcmp(statement_cell(render, row, "section"), section) == 0;
}

/* The first row of a section; NULL: there is none. */
const struct statement_row *statement_row_of(const struct render *render, const char *section)
{
    const struct statement *statement = render->own;
    for (size_t i = 0; i < statement->count; i++)
        if (statement_is_in(render, statement->rows[i], section))
            return statement->rows[i];
    return NULL;
}

/* --- words --------------------------------------------------------------------------------------------- */

/* The sentence about an amount in the place %1, its currency, and the day on which the payment is due. */
struct due_words {
    const char *to, *by; /* the participant gets the amount, or owes it */
};

static const struct due_words *due_words_of(const struct render *render, const struct statement_row *row)
{
    static const struct due_words coming = {"You will receive %1 %2 on %3", "You will pay %1 %2 on %3"},
                                  came = {"After these days you have received %1 %2, due on %3",
                                          "After these days you have paid %1 %2, due on %3"},
                                  failed = {"After these days a payment to you failed: %1 %2, due on %3",
                                            "After these days a payment by you failed: %1 %2, due on %3"},
                                  open = {"Not settled yet, you are owed %1 %2",
                                          "Not settled yet, you owe %1 %2"},
                                  next = {"The next settlement takes up what you are owed: %1 %2",
                                          "The next settlement takes up what you owe: %1 %2"},
                                  other = {"Settled and not paid, you are owed %1 %2",
                                           "Settled and not paid, you owe %1 %2"};
    const char *item = statement_cell(render, row, "item"), *status = statement_cell(render, row, "status");
    if (strcmp(item, "payment") == 0)
        return strcmp(status, "confirmed") == 0 ? &came : strcmp(status, "failed") == 0 ? &failed : &coming;
    return strcmp(item, "not_settled") == 0 ? &open : strcmp(item, "next_settlement") == 0 ? &next : &other;
}

static bool are_alike(const struct render *render, const struct statement_row *a,
                      const struct statement_row *b)
{
    return statement_is_in(render, b, "due") && due_words_of(render, a) == due_words_of(render, b) &&
           strcmp(statement_cell(render, a, "due_on"), statement_cell(render, b, "due_on")) == 0 &&
           (*statement_cell(render, a, "amount") == '-') == (*statement_cell(render, b, "amount") == '-');
}

static void say(struct render *render, const char *words, const char *amount, const char *date)
{
    struct buffer day;
    buffer_init(&day, 128);
    day.words = render->text.words;
    words_date(&day, date, false);
    html_say_figure(&render->text, words, amount, render->head->currency, day.data != NULL ? day.data : "");
    buffer_dispose(&day);
}

/* One sentence for all amounts that are due like this one. The first of them says it. */
static void add_words(struct render *render, size_t index)
{
    const struct statement *statement = render->own;
    const struct statement_row *first = statement->rows[index];
    struct decimal number = {0};
    struct money sum = {0};
    size_t count = 0;
    char text[MONEY_TEXT_MAX];
    for (size_t i = 0; i < statement->count; i++) {
        const char *amount = statement_cell(render, statement->rows[i], "amount");
        if (!are_alike(render, first, statement->rows[i]))
            continue;
        if (i < index)
            return;
        if (!decimal_parse(amount, strlen(amount), &number) ||
            !money_add(sum, (struct money){number.unscaled}, &sum))
            render->failed = true;
        count++;
    }
    const struct due_words *words = due_words_of(render, first);
    bool owes = sum.minor < 0;
    sum.minor = owes ? -sum.minor : sum.minor;
    money_format(sum, number.scale, text);
    buffer_add_text(&render->text, "<p class=\"due\">");
    say(render, owes ? words->by : words->to, text, statement_cell(render, first, "due_on"));
    buffer_add_char(&render->text, '.');
    snprintf(text, sizeof text, "%zu", count);
    if (count > 1) {
        buffer_add_char(&render->text, ' ');
        html_say(&render->text, "These are %1 payments.", text);
    }
    buffer_add_text(&render->text, "</p>\n");
}

void statement_words(struct render *render)
{
    const struct statement *statement = render->own;
    for (size_t i = 0; i < statement->count; i++)
        if (statement_is_in(render, statement->rows[i], "due"))
            add_words(render, i);
    if (statement_row_of(render, "due") == NULL) {
        buffer_add_text(&render->text, "<p class=\"due\">");
        html_word(&render->text, "Nothing is due.");
        buffer_add_text(&render->text, "</p>\n");
    }
}
