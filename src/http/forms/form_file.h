/* SPDX-License-Identifier: ISC */
/* The part of a form that takes a file, what the file's columns are, and an empty file to begin with. */
#ifndef DEPOSITD_HTTP_FORMS_FORM_FILE_H
#define DEPOSITD_HTTP_FORMS_FORM_FILE_H

#include "http/request/handler.h"
#include "http/request/route.h"

void form_file_field(const struct route *route, struct buffer *text);

/* Adds the columns of a CSV with their meanings, for below the form. */
void form_file_columns(const struct route *route, struct buffer *text);

/* A CSV with the first line alone. */
void handle_form_template(const struct request *request, struct answer *answer);

#endif
