/* SPDX-License-Identifier: ISC */
/* The columns of CSV follow from the shape of the objects that its lines become.
 *
 * A column has the name of its member; bank_account.iban is the member of a member, and par_stock.cup-300 the
 * number in a list of codes with numbers. Other lists have no column. */
#ifndef DEPOSITD_HTTP_REQUEST_CSV_COLUMNS_H
#define DEPOSITD_HTTP_REQUEST_CSV_COLUMNS_H

#include "base/csv.h"
#include "depositd/event.h"
#include "http/request/shape.h"

enum { CSV_NAME_SIZE = 2 * CODE_SIZE };

struct csv_column {
    char name[CSV_NAME_SIZE];  /* "": unknown */
    const struct field *field; /* of the row's shape */
    const struct field *part;  /* of the field's object; NULL: the field is none */
    const char *code;          /* of the field's list, within `name`; NULL: the field is none */
};

/* False: the shape has no such column. */
MUST_CHECK bool csv_column_find(const struct shape *shape, const struct csv_cell *cell,
                                struct csv_column *column);

/* Writes the name of the column that a pointer within a row leads to, such as par_stock/0/cup_type. */
void csv_column_name(const struct shape *shape, const json_t *row, const char *pointer,
                     char name[static CSV_NAME_SIZE]);

/* Calls `visit` for each column. A list of codes with numbers has a single one, with CODE in its name. */
void csv_columns_list(const struct shape *shape, void (*visit)(void *owner, const struct csv_column *column),
                      void *owner);

#endif
