/* SPDX-License-Identifier: ISC */
/* Pages. A key can read in a browser whatever it can read as JSON: the page is made of that very answer, by
 * the rules that page_rules.h has for its schema. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_H
#define DEPOSITD_HTTP_PAGES_PAGE_H

#include "http/request/handler.h"

/* Where a page is wanted and the handler has left JSON, makes the page of it. */
void page_of_answer(const struct request *request, struct answer *answer);

/* A problem for people to read. */
void page_of_problem(const struct faults *faults, const char *request_id, struct buffer *text);

#endif
