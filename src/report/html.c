/* SPDX-License-Identifier: ISC */
/* Writing a page. */
#include "report/html.h"

#include "depositd/money.h"
#include "words/dates.h"
#include "words/labels.h"
#include "words/words.h"

#include <assert.h>
#include <stdio.h>
#include <string.h>

enum { LINE_LENGTH = 44 };

/* U+2212 has the width of a digit, and no line ends after it. */
static const char MINUS[] = "\xe2\x88\x92", DASH[] = "\xe2\x80\x93";

/* The text that stands for a character; NULL: itself. Control characters, which no page may hold, become
 * U+FFFD. */
static const char *replacement(char character)
{
    switch (character) {
    case '&':
        return "&amp;";
    case '<':
        return "&lt;";
    case '>':
        return "&gt;";
    case '"':
        return "&quot;";
    case '\'':
        return "&#39;";
    case '\t':
    case '\n':
        return NULL;
    case 0x7f:
        return "\xef\xbf\xbd";
    default:
        return (unsigned char)character < 0x20 ? "\xef\xbf\xbd" : NULL;
    }
}

void html_text(struct buffer *page, const char *text)
{
    const char *start = text; /* of the run that is not added yet */
    for (; *text != '\0'; text++) {
        const char *other = replacement(*text);
        if (other == NULL)
            continue;
        buffer_add(page, start, (size_t)(text - start));
        buffer_add_text(page, other);
        start = text + 1;
    }
    buffer_add(page, start, (size_t)(text - start));
}

/* --- words --------------------------------------------------------------------------------------------- */

/* Marks what is written between these two as English. */
static void begin_english(struct buffer *page)
{
    buffer_add_text(page, "<span lang=\"en\">");
}

static void end_english(struct buffer *page)
{
    buffer_add_text(page, "</span>");
}

void html_word_of(struct buffer *page, const char *context, const char *english)
{
    const char *text = words_find(page->words, context, english);
    if (text == NULL)
        begin_english(page);
    html_text(page, text != NULL ? text : english);
    if (text == NULL)
        end_english(page);
}

void html_word(struct buffer *page, const char *english)
{
    html_word_of(page, NULL, english);
}

void html_plain_word(struct buffer *page, const char *english)
{
    const char *text = words_find(page->words, NULL, english);
    html_text(page, text != NULL ? text : english);
}

enum { SENTENCE_MAX = 8192 };

/* Writes a sentence, which is in English all the same if it has no translation. */
static void add_sentence(struct buffer *page, const struct buffer *sentence, bool translated)
{
    page->failed = page->failed || sentence->failed;
    if (!translated)
        begin_english(page);
    html_text(page, sentence->data != NULL ? sentence->data : "");
    if (!translated)
        end_english(page);
}

void html_say_with(struct buffer *page, const char *english, const char *const *parts)
{
    struct buffer sentence;
    buffer_init(&sentence, SENTENCE_MAX);
    sentence.words = page->words;
    bool translated = words_say_with(&sentence, english, parts);
    add_sentence(page, &sentence, translated);
    buffer_dispose(&sentence);
}

void html_say_figure_with(struct buffer *page, const char *english, const char *figure,
                          const char *const *parts)
{
    struct words_part known[] = {{"", 0}, {parts[0], strlen(parts[0])}, {parts[1], strlen(parts[1])}};
    const char *pattern = words_find(page->words, NULL, english);
    const char *used = pattern != NULL ? pattern : english, *place = strstr(used, "%1");
    struct buffer before, after;
    assert(place != NULL);
    buffer_init(&before, SENTENCE_MAX);
    buffer_init(&after, SENTENCE_MAX);
    buffer_add(&before, used, (size_t)(place - used));
    words_fill(&after, place + strlen("%1"), known, sizeof known / sizeof known[0]);
    add_sentence(page, &before, pattern != NULL);
    buffer_add_text(page, "<b>");
    html_figure(page, figure);
    buffer_add_text(page, "</b>");
    add_sentence(page, &after, pattern != NULL);
    buffer_dispose(&before);
    buffer_dispose(&after);
}

void html_said(struct buffer *page, const char *format, const char *text)
{
    struct words_part parts[WORDS_PARTS_MAX];
    struct buffer sentence;
    size_t count;
    const char *pattern = page->words != NULL ? words_find(page->words, NULL, format) : NULL;
    if (pattern == NULL || !words_parts(format, text, parts, &count)) {
        html_word(page, text);
        return;
    }
    buffer_init(&sentence, SENTENCE_MAX);
    words_fill(&sentence, pattern, parts, count);
    add_sentence(page, &sentence, true);
    buffer_dispose(&sentence);
}

void html_label(struct buffer *page, const char *name)
{
    char label[WORDS_LABEL_SIZE] = "";
    bool translated = words_label_in(page->words, name, label) || page->words == NULL || *name == '\0';
    if (!translated)
        begin_english(page);
    html_text(page, *label != '\0' ? label : name);
    if (!translated)
        end_english(page);
}

void html_plain_label(struct buffer *page, const char *name)
{
    char label[WORDS_LABEL_SIZE] = "";
    (void)words_label_in(page->words, name, label);
    html_text(page, *label != '\0' ? label : name);
}

/* A text for people with the machine's own value beside it. */
static void begin_data(struct buffer *page, const char *value)
{
    html_open(page, "data", "value", value);
}

static void end_data(struct buffer *page)
{
    buffer_add_text(page, "</data>");
}

void html_value(struct buffer *page, const char *member, const char *value)
{
    char plain[WORDS_LABEL_SIZE];
    bool is_word = words_plain(value, plain);
    const char *text = is_word ? words_within(page->words, member, plain) : NULL;
    if (text == NULL && (!is_word || !words_are_values(member))) {
        html_text(page, value);
        return;
    }
    text = words_find(page->words, member, plain);
    if (text != NULL && strcmp(text, value) == 0) {
        html_text(page, value);
        return;
    }
    begin_data(page, value);
    html_word_of(page, member, plain);
    end_data(page);
}

/* A decimal fraction as a number of hundredths: "0.1500" is "15.00". False: it is too long. */
static bool percent_of(const char *fraction, char percent[static WORDS_LABEL_SIZE])
{
    size_t sign = *fraction == '-', whole = strspn(fraction + sign, "0123456789");
    const char *point = fraction[sign + whole] == '.' ? fraction + sign + whole + 1 : "";
    size_t decimals = strlen(point), zeros = whole == 1 && fraction[sign] == '0';
    char digits[WORDS_LABEL_SIZE];
    int length = snprintf(digits, sizeof digits, "%.*s%s%s", (int)(whole - zeros), fraction + sign + zeros,
                          point, &"00"[decimals < 2 ? decimals : 2]);
    size_t count = strspn(digits, "0");
    if (length < 0 || length + 4 >= (int)sizeof digits)
        return false;
    size_t units = whole - zeros + 2; /* digits before the point */
    count = count < units - 1 ? count : units - 1;
    snprintf(percent, WORDS_LABEL_SIZE, "%s%.*s%s%s", sign ? "-" : "", (int)(units - count), digits + count,
             digits[units] != '\0' ? "." : "", digits + units);
    return true;
}

void html_rate(struct buffer *page, const char *fraction)
{
    char percent[WORDS_LABEL_SIZE];
    if (!html_is_figure(fraction) || !percent_of(fraction, percent)) {
        html_text(page, fraction);
        return;
    }
    begin_data(page, fraction);
    html_say(page, "%1%%", percent);
    end_data(page);
}

void html_name_beside(struct buffer *page, const char *name)
{
    if (name == NULL)
        return;
    buffer_add_text(page, "<small class=\"name\"> \xc2\xb7 ");
    html_text(page, name);
    buffer_add_text(page, "</small>");
}

void html_date(struct buffer *page, const char *date, bool weekday)
{
    struct buffer written;
    buffer_init(&written, SENTENCE_MAX);
    written.words = page->words;
    words_date(&written, date, weekday);
    add_sentence(page, &written, true);
    buffer_dispose(&written);
}

void html_option(struct buffer *page, const char *value, const char *label, bool chosen)
{
    char words[WORDS_LABEL_SIZE] = "";
    bool known = words_label_in(page->words, label, words) || page->words == NULL || *label == '\0';
    buffer_add_text(page, "<option value=\"");
    html_text(page, value);
    buffer_printf(page, "\"%s%s>", known ? "" : " lang=\"en\"", chosen ? " selected" : "");
    html_text(page, *words != '\0' ? words : label);
    buffer_add_text(page, "</option>");
}

/* --- elements ------------------------------------------------------------------------------------------ */

void html_open(struct buffer *page, const char *element, const char *attribute, const char *value)
{
    buffer_printf(page, "<%s %s=\"", element, attribute);
    html_text(page, value);
    buffer_add_text(page, "\">");
}

void html_cell_begin(struct buffer *page, bool heads_row, const char *class)
{
    buffer_add_text(page, heads_row ? "<th scope=\"row\"" : "<td");
    if (class != NULL)
        buffer_printf(page, " class=\"%s\"", class);
    buffer_add_char(page, '>');
}

void html_cell_end(struct buffer *page, bool heads_row)
{
    buffer_add_text(page, heads_row ? "</th>" : "</td>");
}

const char *html_text_class(const char *text)
{
    return text != NULL && strlen(text) > LINE_LENGTH ? "t" : NULL;
}

void html_link(struct buffer *page, const char *href, const char *text)
{
    html_open(page, "a", "href", href);
    html_word(page, text);
    buffer_add_text(page, "</a>");
}

void html_name_link(struct buffer *page, const char *href, const char *text)
{
    html_open(page, "a", "href", href);
    html_text(page, text);
    buffer_add_text(page, "</a>");
}

void html_link_rel(struct buffer *page, const char *href, const char *rel, const char *text)
{
    buffer_printf(page, "<a rel=\"%s\" href=\"", rel);
    html_text(page, href);
    buffer_add_text(page, "\">");
    html_word(page, text);
    buffer_add_text(page, "</a>");
}

bool html_is_figure(const char *text)
{
    struct decimal number;
    return decimal_parse(text, strlen(text), &number);
}

bool html_is_zero(const char *number)
{
    struct decimal value;
    return decimal_parse(number, strlen(number), &value) && value.unscaled == 0;
}

void html_number(struct buffer *page, const char *number)
{
    bool less = *number == '-' && html_is_figure(number);
    buffer_add_text(page, less ? MINUS : "");
    html_text(page, number + less);
}

void html_figure(struct buffer *page, const char *number)
{
    if (html_is_figure(number) && *number == '-') {
        buffer_add_text(page, MINUS);
        number++;
    }
    size_t whole = strspn(number, "0123456789");
    if (!html_is_figure(number) || whole <= 4) {
        html_text(page, number);
        return;
    }
    size_t first = whole % 3 != 0 ? whole % 3 : 3;
    buffer_add(page, number, first);
    number += first;
    for (size_t left = whole - first; left > 0; left -= 3, number += 3) {
        buffer_add_text(page, "<span>");
        buffer_add(page, number, 3);
        buffer_add_text(page, "</span>");
    }
    html_text(page, number);
}

void html_nothing(struct buffer *page, const char *zero)
{
    html_open(page, "data", "value", zero);
    buffer_printf(page, "%s</data>", DASH);
}

/* The name of the document, which a browser gives a file that it prints the page to. */
static void add_title(struct buffer *page, const struct html_page *about)
{
    about->is_name ? html_text(page, about->title) : html_plain_word(page, about->title);
    if (about->detail != NULL)
        html_text(page, about->detail);
    else
        buffer_add_text(page, " - depositd");
}

void html_page_begin(struct buffer *page, const struct html_page *about)
{
    buffer_printf(page, "<!DOCTYPE html>\n<html lang=\"%s\">\n<head>\n<meta charset=\"utf-8\">\n",
                  words_code(page->words));
    buffer_add_text(page, "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                          "<meta name=\"color-scheme\" content=\"light dark\">\n<title>");
    add_title(page, about);
    buffer_add_text(page, "</title>\n<link rel=\"stylesheet\" href=\"/style.css\">\n</head>\n<body>\n"
                          "<a class=\"skip\" href=\"#content\">");
    html_word(page, "Skip to the content");
    buffer_add_text(page, "</a>\n<header><nav aria-label=\"");
    html_plain_word(page, "Pages");
    buffer_add_text(page, "\"><a class=\"home\" href=\"/\">depositd</a>");
    for (size_t i = 0; i < about->page_count; i++) {
        buffer_add_char(page, '\n');
        html_link(page, about->pages[i].href, about->pages[i].text);
    }
    buffer_add_text(page, "</nav>");
    if (about->signed_in != NULL) {
        buffer_add_text(page, "\n<form method=\"post\" action=\"/sign-out\" class=\"session\"><span>");
        html_text(page, about->signed_in);
        buffer_add_text(page, "</span> <button>");
        html_word(page, "Sign out");
        buffer_add_text(page, "</button></form>\n");
    }
    buffer_add_text(page, "</header>\n<main id=\"content\">\n<h1>");
    about->is_name ? html_text(page, about->title) : html_word(page, about->title);
    buffer_add_text(page, "</h1>\n");
    if (about->made == NULL)
        return;
    buffer_add_text(page, "<p class=\"made\">");
    html_text(page, about->made);
    buffer_add_text(page, "</p>\n");
}

void html_page_end(struct buffer *page)
{
    buffer_add_text(page, "</main>\n</body>\n</html>\n");
}

void html_fact_begin(struct buffer *page, const char *name)
{
    buffer_add_text(page, "<dt>");
    html_label(page, name);
    buffer_add_text(page, "</dt><dd>");
}

void html_fact_end(struct buffer *page)
{
    buffer_add_text(page, "</dd>\n");
}

void html_fact(struct buffer *page, const char *name, const char *value)
{
    html_fact_begin(page, name);
    html_text(page, value);
    html_fact_end(page);
}

void html_word_fact(struct buffer *page, const char *name, const char *words)
{
    html_fact_begin(page, name);
    html_word(page, words);
    html_fact_end(page);
}

static void add_caption(struct buffer *page, const struct html_table *about)
{
    if (about->is_name)
        html_text(page, about->caption);
    else if (about->caption != NULL)
        html_word(page, about->caption);
    else
        html_label(page, about->name);
}

/* A row that only paper shows: heads are repeated on each sheet, captions are not. */
static void add_running(struct buffer *page, const struct html_table *about)
{
    if (about->running == NULL)
        return;
    buffer_printf(page, "<tr class=\"running\"><td colspan=\"%zu\">", about->columns);
    html_text(page, about->running);
    buffer_add_text(page, ": ");
    add_caption(page, about);
    buffer_add_text(page, "</td></tr>\n");
}

/* The caption in an attribute. */
static void add_plain_caption(struct buffer *page, const struct html_table *about)
{
    if (about->is_name)
        html_text(page, about->caption);
    else if (about->caption != NULL)
        html_plain_word(page, about->caption);
    else
        html_plain_label(page, about->name);
}

void html_table_begin(struct buffer *page, const struct html_table *about)
{
    buffer_printf(page, "<div class=\"region%s\" role=\"region\" tabindex=\"0\" aria-label=\"",
                  about->wide ? " wide" : "");
    add_plain_caption(page, about);
    buffer_printf(page, "\">\n<table>\n<caption%s><span>", about->said ? " class=\"said\"" : "");
    add_caption(page, about);
    buffer_add_text(page, "</span></caption>\n<thead>");
    add_running(page, about);
    buffer_add_text(page, "<tr>");
}

void html_column(struct buffer *page, const char *name, bool figures)
{
    html_column_in(page, name, figures ? "n" : NULL, NULL);
}

void html_column_in(struct buffer *page, const char *name, const char *class, const char *unit)
{
    buffer_add_text(page, "<th scope=\"col\"");
    if (class != NULL)
        buffer_printf(page, " class=\"%s\"", class);
    buffer_add_char(page, '>');
    html_label(page, name);
    if (unit != NULL) {
        buffer_add_text(page, " <small class=\"unit\">");
        html_text(page, unit);
        buffer_add_text(page, "</small>");
    }
    buffer_add_text(page, "</th>");
}

const char *html_main_column(const char *names[], size_t count)
{
    static const char *const mains[] = {"closing", "position", "balance", "difference",
                                        "total",   "counted",  "amount",  "net"};
    for (size_t i = 0; i < sizeof mains / sizeof mains[0]; i++)
        for (size_t column = 0; column < count; column++)
            if (names[column] != NULL && strcmp(names[column], mains[i]) == 0)
                return names[column];
    return NULL;
}

void html_table_rows(struct buffer *page)
{
    buffer_add_text(page, "</tr></thead>\n<tbody>\n");
}

void html_table_end(struct buffer *page)
{
    buffer_add_text(page, "</tbody>\n</table>\n</div>\n");
}

void html_table_foot(struct buffer *page)
{
    buffer_add_text(page, "</tbody>\n<tfoot>\n");
}

void html_table_end_foot(struct buffer *page)
{
    buffer_add_text(page, "</tfoot>\n</table>\n</div>\n");
}

void html_table_end_empty(struct buffer *page)
{
    buffer_add_text(page, "</tr></thead>\n</table>\n</div>\n<p class=\"none\">");
    html_word(page, "There is nothing to show.");
    buffer_add_text(page, "</p>\n");
}

void html_note(struct buffer *page, const char *text)
{
    buffer_add_text(page, "<p class=\"note\">");
    html_word(page, text);
    buffer_add_text(page, "</p>\n");
}
