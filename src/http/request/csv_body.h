/* SPDX-License-Identifier: ISC */
/* Bodies in CSV, as a spreadsheet saves them. The first line names the columns, in any order; each other line
 * becomes an object of a shape, and the objects become the JSON that the route's handler takes. So handlers
 * know nothing of CSV.
 *
 * A column has the name of its member; bank_account.iban is the member of a member, and par_stock.cup-300 the
 * number in a list of codes with numbers. An empty cell leaves its member out, an empty line counts for
 * nothing. A fault of a body in CSV points at /line/column, and its detail says the same in words. */
#ifndef DEPOSITD_HTTP_REQUEST_CSV_BODY_H
#define DEPOSITD_HTTP_REQUEST_CSV_BODY_H

#include "http/request/csv_columns.h"

enum { CSV_ROWS_MAX = 50000 };

/* How the lines of a route become its JSON. */
struct csv_form {
    const char *list; /* the member of the JSON that gets the objects */
    const struct shape *row;
};

/* Part of a JSON that is not a list of the lines, with the line that it was made of. */
struct csv_origin {
    char pointer[2 * CODE_SIZE]; /* the part; all within it is of the same line */
    size_t row;
    const char *column; /* NULL: it has the name of the member within the part */
};

/* Tells where in a body of CSV a fault of its JSON is. It lives in the arena of the faults. */
struct csv_body {
    const struct csv_form *form;
    struct csv_column columns[CSV_CELLS_MAX];
    size_t column_count;
    size_t *lines; /* for each object, where it begins in the file */
    size_t line_count, line_capacity;
    struct csv_origin *origins;
    size_t origin_count, origin_capacity;
};

/* Makes JSON of the text. Faults of cells are found by those who check the objects by their shape. A line
 * with another number of cells than the first is left out, and a fault was added for it, so the JSON may come
 * with faults. NULL: faults were added, and nothing more can be said about the text. */
MUST_CHECK json_t *csv_body_read(const struct csv_form *form, const char *text, size_t length,
                                 struct csv_body *body, struct faults *faults);

/* Checks each object of the JSON by its shape, for those who make something else of the objects. False: there
 * are faults, these or others. */
MUST_CHECK bool csv_body_check(const struct csv_form *form, const json_t *json, struct faults *faults);

/* Notes that a part of another JSON was made of a row. Memory comes from the arena. */
void csv_body_add_origin(struct csv_body *body, struct arena *arena, const struct csv_origin *origin);

/* Makes faults that point into the JSON point into the CSV, in the order of its lines. */
void csv_body_place_faults(const struct csv_body *body, const json_t *json, struct faults *faults);

#endif
