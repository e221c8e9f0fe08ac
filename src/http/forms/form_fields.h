/* SPDX-License-Identifier: ISC */
/* The fields of a form, made of the shape that also checks the body. */
#ifndef DEPOSITD_HTTP_FORMS_FORM_FIELDS_H
#define DEPOSITD_HTTP_FORMS_FORM_FIELDS_H

#include "http/forms/form_choice.h"
#include "http/forms/form_options.h"
#include "http/request/shape.h"

struct form_view {
    const struct request *request;
    const struct faults *faults; /* shown beside the fields that they are about */
    struct buffer *text;
    const struct form_choice *choice; /* of one of the lists; NULL: none */
    const json_t *thing;              /* with the rows to choose from; NULL: there are none */
    struct form_options *options;     /* lists to choose codes from */
    const char *row, *first_row; /* pointers to the row of a list and to its first row; NULL: in no list */
};

/* Adds a field for each member of the shape. `values`: their contents; NULL: nothing yet. `more`: the list
 * that gets further empty rows; NULL: none. */
void form_fields(const struct form_view *view, const struct shape *shape, const json_t *values,
                 const char *more);

/* Adds a field of its own, with the options for codes of the label's name unless it is for a new one. `value`
 * NULL: empty. */
struct form_text {
    const char *name, *label, *value;
    bool required, is_new;
};
void form_text_field(const struct form_view *view, const struct form_text *field);
void form_hidden(struct buffer *text, const char *name, const char *value);

#endif
