/* SPDX-License-Identifier: ISC */
/* Writing a page. */
#include "report/html.h"

#include "words/words.h"

#include <string.h>

enum { LINE_LENGTH = 44 };

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

void html_picture_begin(struct buffer *page, const char *caption, int width, double height)
{
    buffer_add_text(page, "<figure>\n<figcaption>");
    html_word(page, caption);
    buffer_printf(page, "</figcaption>\n<svg role=\"img\" viewBox=\"0 0 %d %.0f\">\n<title>", width, height);
    html_plain_word(page, caption);
    buffer_add_text(page, "</title>\n<desc>");
}

void html_note(struct buffer *page, const char *text)
{
    buffer_add_text(page, "<p class=\"note\">");
    html_word(page, text);
    buffer_add_text(page, "</p>\n");
}
