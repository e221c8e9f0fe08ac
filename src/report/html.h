/* SPDX-License-Identifier: ISC */
/* Writing a page: the parts that all pages share, from the first tag to the last. Every text is escaped here,
 * and nothing is written that a strict Content-Security-Policy would have to allow: no script, no style
 * within the page. A page is read on a phone, on a desk and on paper; how it looks is style.css. Any
 * thread. */
#ifndef DEPOSITD_REPORT_HTML_H
#define DEPOSITD_REPORT_HTML_H

#include "base/buffer.h"

struct html_link {
    const char *href, *text;
};

struct html_page {
    const char *title;
    const char
        *detail; /* follows the title in the name of the document, as " tern-bay 2026-05-12"; NULL: nothing */
    const char *made;              /* a line for paper: when the page was made, and for whom; NULL: none */
    const struct html_link *pages; /* the way to other pages; borrowed */
    size_t page_count;
    const char *signed_in; /* name of the key of the browser's session; NULL: none, so no way to sign out */
};

/* A text, escaped for content and for quoted attributes. */
void html_text(struct buffer *page, const char *text);
/* The name of a member or column as a person writes it: "business_date" is "Business date". */
void html_label(struct buffer *page, const char *name);
/* <name attribute="value">, the value escaped. */
void html_open(struct buffer *page, const char *element, const char *attribute, const char *value);
/* One cell after another of a row: `class` is "n" for a figure. The content is written between the two. */
void html_cell_begin(struct buffer *page, bool heads_row, const char *class);
void html_cell_end(struct buffer *page, bool heads_row);
/* "t" for a text that may be broken into lines, else NULL. */
const char *html_text_class(const char *text);
void html_link(struct buffer *page, const char *href, const char *text);
/* The same with what the target is to this page, as "next" (HTML section 4.6.7). */
void html_link_rel(struct buffer *page, const char *href, const char *rel, const char *text);
/* A decimal number with a true minus sign, as text alone. */
void html_number(struct buffer *page, const char *number);
/* The same, and its thousands set apart for the eye: the digits are as they
 * were given. */
void html_figure(struct buffer *page, const char *number);
/* The dash that stands for a zero in a table of amounts; the zero is its machine-readable value. */
void html_nothing(struct buffer *page, const char *zero);
bool html_is_zero(const char *number);
/* "-12.50", "7": whether it is to be read as a number. */
bool html_is_figure(const char *text);

/* To the level-1 heading, which is the title. */
void html_page_begin(struct buffer *page, const struct html_page *about);
void html_page_end(struct buffer *page);

/* One fact of a list of them; the value is written between begin and end. */
void html_fact_begin(struct buffer *page, const char *name);
void html_fact_end(struct buffer *page);
void html_fact(struct buffer *page, const char *name, const char *value);

struct html_table {
    const char *caption; /* NULL: the name, as a label */
    const char *name;
    bool said;           /* by the heading above: the caption is for readers who can't see which cells belong
                            together */
    bool wide;           /* on paper it is turned */
    const char *running; /* begins the line that paper repeats above the rows; NULL: there is no such line */
    size_t columns;      /* that it goes across */
};
/* A table in a region of its own, which scrolls where the screen is narrow. */
void html_table_begin(struct buffer *page, const struct html_table *about);
void html_column(struct buffer *page, const char *name, bool figures);
/* `class`: "n" for figures, "n k" for the figures that stay in view on a phone. `unit`: of all its cells;
 * NULL: they say it themselves. */
void html_column_in(struct buffer *page, const char *name, const char *class, const char *unit);
/* The name of the column of figures that a reader looks for. Names may be NULL. NULL: there is none. */
const char *html_main_column(const char *names[], size_t count);
/* The columns are complete, the rows begin. */
void html_table_rows(struct buffer *page);
void html_table_end(struct buffer *page);
/* The rows are complete, the totals of the whole table begin; then its end. */
void html_table_foot(struct buffer *page);
void html_table_end_foot(struct buffer *page);
/* In place of these, where there are no rows. */
void html_table_end_empty(struct buffer *page);
/* A caution. */
void html_note(struct buffer *page, const char *text);

#endif
