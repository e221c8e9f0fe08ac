/* SPDX-License-Identifier: ISC */
/* Writing a page: the parts that all pages share, from the first tag to the last. Every text is escaped here.
 * Fixed words are written in the page's language, which its buffer has, and data as they are. Nothing is
 * written that a strict Content-Security-Policy would have to allow: no script, no style within the page. A
 * page is read on a phone, on a desk and on paper; how it looks is style.css. Any thread. */
#ifndef DEPOSITD_REPORT_HTML_H
#define DEPOSITD_REPORT_HTML_H

#include "report/html_text.h"
#include "report/html_words.h"

struct html_link {
    const char *href, *text; /* the text is fixed words */
};

struct html_page {
    const char *title;
    const char
        *detail; /* follows the title in the name of the document, as " tern-bay 2026-05-12"; NULL: nothing */
    const char *made;              /* a line for paper: when the page was made, and for whom; NULL: none */
    bool is_name;                  /* the title is data, not fixed words */
    const struct html_link *pages; /* the way to other pages; borrowed */
    size_t page_count;
    const char *signed_in; /* name of the key of the browser's session; NULL: none, so no way to sign out */
};

/* One cell after another of a row: `class` is "n" for a figure. The content is written between the two. */
void html_cell_begin(struct buffer *page, bool heads_row, const char *class);
void html_cell_end(struct buffer *page, bool heads_row);
/* "t" for a text that may be broken into lines, else NULL. */
const char *html_text_class(const char *text);
/* The text is fixed words. */
void html_link(struct buffer *page, const char *href, const char *text);
/* The same with what the target is to this page, as "next" (HTML section 4.6.7). */
void html_link_rel(struct buffer *page, const char *href, const char *rel, const char *text);
/* The text is data. */
void html_name_link(struct buffer *page, const char *href, const char *text);
/* To the level-1 heading, which is the title. */
void html_page_begin(struct buffer *page, const struct html_page *about);
void html_page_end(struct buffer *page);

/* One fact of a list of them; the value is written between begin and end. */
void html_fact_begin(struct buffer *page, const char *name);
void html_fact_end(struct buffer *page);
void html_fact(struct buffer *page, const char *name, const char *value);
/* The same with fixed words for its value. */
void html_word_fact(struct buffer *page, const char *name, const char *words);

struct html_table {
    const char *caption; /* fixed words; NULL: the name, as a label */
    bool is_name;        /* the caption is data */
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
/* A picture of its own, to its description for readers who can't see it: the caller writes this, then
 * "</desc>", the shapes and "</svg>", and ends the figure. The caption is fixed words. */
void html_picture_begin(struct buffer *page, const char *caption, int width, double height);
/* A caution, in fixed words. */
void html_note(struct buffer *page, const char *text);

#endif
