/* SPDX-License-Identifier: ISC */
/* The handlers of forms, for the table of routes. */
#ifndef DEPOSITD_HTTP_FORMS_HANDLERS_H
#define DEPOSITD_HTTP_FORMS_HANDLERS_H

#include "http/request/handler.h"

void handle_form_page(const struct request *request, struct answer *answer);
void handle_form_sent(const struct request *request, struct answer *answer);

#endif
