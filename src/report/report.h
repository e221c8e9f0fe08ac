/* SPDX-License-Identifier: ISC */
/* The table of reports. A report is one row here and one statement under sql/reports: the handler checks the
 * reader's role, the store runs it, a renderer writes it, and none of them knows it by name.
 *
 * The statement's parameters are $1 the scheme's id, then the report's own in the order of its row (a day as
 * date, an account as bigint, a choice as 1, 2 … for the first word, the second …, everything else as the id
 * that stands for the code; null: not given), and last, where by_site is set, the ids of the sites that the
 * key may see (null: all), and where by_entry is set, the entry to go on after (null: from the first). Its
 * columns are those of the row, as text. Constant data; any thread. */
#ifndef DEPOSITD_REPORT_REPORT_H
#define DEPOSITD_REPORT_REPORT_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stddef.h>

struct renderer;
struct sql;

enum column_kind {
    COLUMN_TEXT,
    COLUMN_AMOUNT, /* decimal, with the currency's decimals */
    COLUMN_CUPS,   /* integer */
    COLUMN_FIGURE, /* an amount where the column `unit` holds the scheme's currency, else cups */
    COLUMN_RATE,   /* decimal fraction: 0.90 is nine of ten */
    COLUMN_TIME    /* an instant, and for pages: a blank, the local time (19 characters), a blank, its zone */
};

struct report_column {
    const char *name;
    enum column_kind kind;
    const char *title;
    const char *link;    /* where the cell leads, one level further down; NULL: nowhere. A URI template (see
                            base/uri.h) whose variables are columns of the row, else parameters of the
                            request; a cell without a value for each of them has no link */
    const char *with;    /* a parameter without which the column is empty, and no page shows it; NULL: none */
    const char *or_link; /* where it leads if `link` lacks a value; NULL: nowhere */
};

enum parameter_kind {
    PARAMETER_DAY, /* a business day */
    PARAMETER_SITE,
    PARAMETER_PARTICIPANT,
    PARAMETER_CUP_TYPE,
    PARAMETER_ACCOUNT, /* by its name, as site_stock(anchor,cup-300) */
    PARAMETER_CHOICE   /* one of a few words */
};

enum parameter_default {
    REQUIRED,
    OR_NULL,           /* the statement gets null: it means all */
    OR_FIRST_ON_PAGES, /* choices only: null, but on pages the first one */
    OR_TODAY,          /* days only: the one that contains now */
    OR_TODAY_ON_PAGES, /* days only: as the next, but on pages `to` or the day that contains now */
    OR_MONTH_AGO /* days only: 30 days before that, or before `to` where it is earlier; or the scheme's first
                  */
};

/* Besides the scheme, which every report asks for. */
struct report_parameter {
    const char *name;
    enum parameter_kind kind;
    enum parameter_default otherwise;
    const char *description;
    const char *const *choices; /* NULL-ended words; NULL: of any other kind than PARAMETER_CHOICE */
};

/* A picture that says more than the rows: on the page only. `x` and `y` name columns; a line for each
 * `series`. */
enum plot_kind { PLOT_NONE, PLOT_LINES, PLOT_BARS };
struct report_plot {
    enum plot_kind kind;
    const char *title;
    const char *x, *y;
    const char *series; /* column; NULL: one line */
    const char *target; /* column whose value is drawn as a level across; NULL: none */
};

/* The rows that sum up others: those with one of the words in a column. */
struct report_totals {
    const char *column; /* NULL: no row does */
    const char *words[2];
};

enum { REPORT_PARAMETERS_MAX = 6, REPORT_COLUMNS_MAX = 24 };

struct report {
    const char *name;
    const char *title;
    unsigned roles; /* the roles that may read it: FOR_OFFICE … */
    bool by_site;
    bool by_entry; /* its rows are in the order of their column `entry`, after one of which it can go on */
    const struct sql *sql;
    struct report_plot plot;
    const char *not_drawn[2]; /* the picture leaves out rows with these values of its x */
    struct report_totals totals;
    const char *const *signatures; /* lines to sign on, at the end of its page, NULL-ended; NULL: none */
    const struct renderer *layout; /* of its page, which has all rows; NULL: a table of some rows */
    const char
        *page; /* another page that has these figures, as a URI template; NULL: the report has its own */
    struct report_parameter parameters[REPORT_PARAMETERS_MAX]; /* NULL-ended by name */
    struct report_column columns[REPORT_COLUMNS_MAX];          /* NULL-ended by name */
};

/* The layouts of single reports. */
extern const struct renderer render_count_sheet, render_cover, render_statement;

const struct report *reports_all(size_t *count);
/* NULL: there is none of that name. */
const struct report *report_find(const char *name);
size_t report_column_count(const struct report *report);
size_t report_parameter_count(const struct report *report);
/* "text", "amount", "cups", "figure", "rate" */
const char *column_kind_word(enum column_kind kind);
/* "day", "site", "participant", "cup_type", "account", "choice" */
const char *parameter_kind_word(enum parameter_kind kind);

#endif
