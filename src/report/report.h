/* SPDX-License-Identifier: ISC */
/* The table of reports. A report is one row here and one statement under sql/reports: the handler checks who
 * may read it, the store runs it, a renderer writes it, and none of them knows it by name.
 *
 * The statement's parameters are $1 the scheme's id, then the report's dates in the order of its row, and
 * last, where by_site is set, the ids of the sites that the key may see (null: all). Its columns are those of
 * the row, as text. Constant data; any thread. */
#ifndef DEPOSITD_REPORT_REPORT_H
#define DEPOSITD_REPORT_REPORT_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stddef.h>

struct sql;

enum column_kind {
    COLUMN_TEXT,
    COLUMN_AMOUNT, /* decimal, with the currency's decimals */
    COLUMN_CUPS,   /* integer */
    COLUMN_FIGURE  /* an amount where the column `unit` holds the scheme's currency, else cups */
};

struct report_column {
    const char *name;
    enum column_kind kind;
    const char *title;
};

/* A business day, besides the scheme that every report asks for. */
struct report_parameter {
    const char *name;
    const char *description;
    bool required; /* else the day that contains now */
};

enum { REPORT_PARAMETERS_MAX = 3, REPORT_COLUMNS_MAX = 16 };

struct report {
    const char *name;
    const char *title;
    unsigned roles; /* who may read it: FOR_OFFICE … */
    bool by_site;
    const struct sql *sql;
    struct report_parameter parameters[REPORT_PARAMETERS_MAX]; /* NULL-ended by name */
    struct report_column columns[REPORT_COLUMNS_MAX];          /* NULL-ended by name */
};

const struct report *reports_all(size_t *count);
/* NULL: there is none of that name. */
const struct report *report_find(const char *name);
size_t report_column_count(const struct report *report);
/* "text", "amount", "cups", "figure" */
const char *column_kind_word(enum column_kind kind);

#endif
