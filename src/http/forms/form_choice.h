/* SPDX-License-Identifier: ISC */
/* Lists of a form that a person picks from the rows of a page: a checkbox for each row. */
#ifndef DEPOSITD_HTTP_FORMS_FORM_CHOICE_H
#define DEPOSITD_HTTP_FORMS_FORM_CHOICE_H

#include "http/request/handler.h"
#include "http/request/route.h"

enum { CHOICE_COLUMNS_MAX = 10 };

struct form_choice {
    const char *operation; /* its id */
    const char *pointer;   /* to the list in the body */
    const char *rows;      /* the list of the thing's JSON that has the rows … */
    const char *value;     /* … and the member of a row that goes into the body's list */
    const char *when, *is; /* only rows whose member `when` is this; NULL: all */
    const char *sum;       /* the member that is summed below; NULL: none */
    bool checked;          /* each row is checked at first */
    bool of_back;          /* the rows are those of the page that the person came from */
    const char *columns[CHOICE_COLUMNS_MAX];
};

/* The choice in an operation's form; NULL: it has none. */
const struct form_choice *form_choice_of(const struct route *route);

/* Adds the rows, at most FORM_ROWS_MAX. `chosen`: the values of the last attempt; NULL: there was none. */
void form_choice_rows(const struct form_choice *choice, const json_t *thing, const json_t *chosen,
                      const struct faults *faults, struct buffer *text);

#endif
