/* SPDX-License-Identifier: ISC */
/* Writing a page. */
#include "report/html.h"

#include "depositd/money.h"

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

void html_label(struct buffer *page, const char *name)
{
    for (const char *at = name; *at != '\0'; at++) {
        char character = *at == '_' || *at == '-' ? ' ' : *at;
        if (at == name && character >= 'a' && character <= 'z')
            character = (char)(character - 'a' + 'A');
        html_text(page, (const char[]){character, '\0'});
    }
}

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
    html_text(page, text);
    buffer_add_text(page, "</a>");
}

void html_link_rel(struct buffer *page, const char *href, const char *rel, const char *text)
{
    buffer_printf(page, "<a rel=\"%s\" href=\"", rel);
    html_text(page, href);
    buffer_add_text(page, "\">");
    html_text(page, text);
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
    html_text(page, about->title);
    if (about->detail != NULL)
        html_text(page, about->detail);
    else
        buffer_add_text(page, " - depositd");
}

void html_page_begin(struct buffer *page, const struct html_page *about)
{
    buffer_add_text(page, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                          "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                          "<meta name=\"color-scheme\" content=\"light dark\">\n<title>");
    add_title(page, about);
    buffer_add_text(page, "</title>\n<link rel=\"stylesheet\" href=\"/style.css\">\n</head>\n<body>\n"
                          "<a class=\"skip\" href=\"#content\">Skip to the content</a>\n"
                          "<header><nav aria-label=\"Pages\"><a class=\"home\" href=\"/\">depositd</a>");
    for (size_t i = 0; i < about->page_count; i++) {
        buffer_add_char(page, '\n');
        html_link(page, about->pages[i].href, about->pages[i].text);
    }
    buffer_add_text(page, "</nav>");
    if (about->signed_in != NULL) {
        buffer_add_text(page, "\n<form method=\"post\" action=\"/sign-out\" class=\"session\"><span>");
        html_text(page, about->signed_in);
        buffer_add_text(page, "</span> <button>Sign out</button></form>\n");
    }
    buffer_add_text(page, "</header>\n<main id=\"content\">\n<h1>");
    html_text(page, about->title);
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

static void add_caption(struct buffer *page, const struct html_table *about)
{
    if (about->caption != NULL)
        html_text(page, about->caption);
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

void html_table_begin(struct buffer *page, const struct html_table *about)
{
    buffer_printf(page, "<div class=\"region%s\" role=\"region\" tabindex=\"0\" aria-label=\"",
                  about->wide ? " wide" : "");
    add_caption(page, about);
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
    buffer_add_text(page,
                    "</tr></thead>\n</table>\n</div>\n<p class=\"none\">There is nothing to show.</p>\n");
}

void html_note(struct buffer *page, const char *text)
{
    buffer_add_text(page, "<p class=\"note\">");
    html_text(page, text);
    buffer_add_text(page, "</p>\n");
}
