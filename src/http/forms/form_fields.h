/* SPDX-License-Identifier: ISC */
/* The fields of a form, made of the shape that also checks the body. */
#ifndef DEPOSITD_HTTP_FORMS_FORM_FIELDS_H
#define DEPOSITD_HTTP_FORMS_FORM_FIELDS_H

#include "http/forms/form_choice.h"
#include "http/request/shape.h"

struct form_view {
    const struct request *request;
    const struct faults *faults; /* shown beside the fields that they are about */
    struct buffer *text;
    const struct form_choice *choice; /* of one of the lists; NULL: none */
    const json_t *thing;              /* with the rows to choose from; NULL: there are none */
};

/* Adds a field for each member of the shape. `values`: their contents; NULL: nothing yet. `more`: the list
 * that gets further empty rows; NULL: none. */
void form_fields(const struct form_view *view, const struct shape *shape, const json_t *values,
                 const char *more);

/* Adds a field of its own. `value` NULL: empty. */
void form_text_field(const struct form_view *view, const char *name, const char *label, const char *value,
                     bool required);
void form_hidden(struct buffer *text, const char *name, const char *value);

#endif
