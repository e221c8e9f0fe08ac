/* SPDX-License-Identifier: ISC */
/* Writing a report: head, rows one by one, tail. Each row goes to a sink as soon as it is complete, so that a
 * report of any size needs the memory of one row. Renderers know columns and their kinds, and no report by
 * name; a further format is one more struct renderer. Owned by one thread at a time. */
#ifndef DEPOSITD_REPORT_RENDER_H
#define DEPOSITD_REPORT_RENDER_H

#include "base/buffer.h"
#include "report/html.h"
#include "report/html_fields.h"
#include "report/report.h"

struct sink {
    void (*write)(void *context, const char *bytes, size_t length);
    void *context;
};

/* A link to the form for doing something with a row of a report. */
struct report_act {
    const char *text;
    const char *pattern; /* a URI template of the row's columns and the request's parameters */
    const char *column;  /* only where this figure is not zero */
};

/* Members that only a page shows: where one can go from it. All of it is borrowed. */
struct report_page {
    const struct words *words; /* of the page's language */
    const struct html_link *pages;
    size_t page_count;
    const char *signed_in, *made;
    struct html_choices schemes; /* that can be asked for; no codes: too many, any text */
    struct html_choices choices[REPORT_PARAMETERS_MAX]; /* the same for each parameter */
    bool leads[REPORT_COLUMNS_MAX];                     /* the reader may follow the column's links */
    const char *(*name_of)(const void *reader, const char *column, const char *code); /* NULL: no name */
    const void *reader;
    const char *note; /* a caution; NULL: none */
    const char *acts; /* links to what can be done with the rows, as HTML; NULL: none */
    const struct report_act *const *row_acts; /* links of each row; NULL-ended; NULL: none */
    bool continues;                           /* it begins where another page ended */
    const char *next;                         /* where the rows go on, known at the tail; NULL: they don't */
};

/* The request. */
struct report_head {
    const struct report *report;
    const char *scheme;
    const char *currency;
    const char *arguments[REPORT_PARAMETERS_MAX]; /* parallel to the report's parameters; NULL: not given */
    const struct report_page *page;               /* NULL unless it is to be one */
};

struct plot;
struct render;

struct renderer {
    void (*head)(struct render *render);
    /* As many cells as the report has columns; NULL: nothing. */
    void (*row)(struct render *render, const char *const *cells);
    void (*tail)(struct render *render);
};

extern const struct renderer render_json, render_csv, render_html;

enum { RENDER_ABOVE_SIZE = 64, RENDER_INSTANT_SIZE = 40, RENDER_ZONE_SIZE = 64 };

struct render {
    const struct renderer *renderer;
    const struct report_head *head; /* borrowed */
    struct sink sink;
    struct buffer text; /* text that the sink has not been given yet */
    size_t column_count;
    size_t unit_column; /* column_count: none */
    size_t rows;        /* written so far */
    size_t totals;      /* of these: lines of totals */
    bool failed;        /* a row was too long, or memory ran out */
    /* For a page: */
    struct plot *plot;                /* NULL: there is none */
    void *own;                        /* a layout keeps it from its head to its tail */
    bool unshown[REPORT_COLUMNS_MAX]; /* columns that a layout has not shown, so they need no explanation */
    const char *main;                 /* column of figures that stays in view; NULL: there is none */
    char zone[RENDER_ZONE_SIZE];      /* of the clock that shows the times; "": none was shown yet */
    char above[2][RENDER_ABOVE_SIZE]; /* the first cells of the row before, as far as they fit */
};

/* Writes the head. */
void render_begin(struct render *render, const struct renderer *renderer, const struct report_head *head,
                  struct sink sink);
void render_row(struct render *render, const char *const *cells);
/* Writes the tail and frees all that the render owns. False: it is not complete. */
MUST_CHECK bool render_end(struct render *render);

/* For renderers: whether the cell is a number of JSON's, an integer, rather than a text. */
bool render_is_integer(const struct render *render, const char *const *cells, size_t column);

/* For machines: the cell as it came, but of a time only the instant. NULL: it is empty. */
const char *render_plain_cell(const struct render *render, const char *const *cells, size_t column,
                              char instant[static RENDER_INSTANT_SIZE]);

/* For pages: the form that asks for a report, filled with the values of this request. */
void render_form(struct buffer *page, const struct report_head *head);

/* The place of the report's column of this name; column_count: it has none. */
size_t render_column(const struct render *render, const char *name);
/* The row's cell in the column of this name, as it came. NULL: there is none, or no such column; `name` may
 * be NULL. */
const char *render_cell(const struct render *render, const char *const *cells, const char *name);
/* Begins the link of a column, if the reader may follow it and all of its variables have a value. The caller
 * ends it if this is true. */
bool render_begin_link(struct render *render, const char *const *cells, size_t column);

/* Begins a link, if all variables of the URI template have a value. The caller ends it if this is true. */
bool render_open_link(struct render *render, const char *const *cells, const char *link);

/* From the first tag to the form. */
void render_head(struct render *render);
/* The end of the page: the caution, the meaning of the columns, the other forms. */
void render_tail(struct render *render);
/* The report's name as a title, and behind it the scheme and the arguments that choose its figures. The
 * caller disposes of both. */
void render_words(const struct report_head *about, struct buffer *title, struct buffer *detail);

#endif
