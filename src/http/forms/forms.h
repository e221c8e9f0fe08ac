/* SPDX-License-Identifier: ISC */
/* The page of a form, and the form as it comes back: the handlers, for the table of routes. */
#ifndef DEPOSITD_HTTP_FORMS_FORMS_H
#define DEPOSITD_HTTP_FORMS_FORMS_H

#include "http/request/handler.h"

void handle_form_page(const struct request *request, struct answer *answer);
void handle_form_sent(const struct request *request, struct answer *answer);

#endif
