/* SPDX-License-Identifier: ISC */
/* Pages. Whatever a key can read as JSON it can read in a browser: the page is made of the very answer, by
 * what page_rules.h says of its schema; reports are rendered as they stream, and only get from here what
 * leads on from them. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_H
#define DEPOSITD_HTTP_PAGES_PAGE_H

#include "http/request/handler.h"
#include "report/render.h"

/* Where a page is wanted and the handler has left JSON, makes the page of it. */
void page_of_answer(const struct request *request, struct answer *answer);

/* What a report's page leads to and can be asked for. False: out of memory. */
MUST_CHECK bool page_of_report(const struct request *request, const struct scheme *scheme,
                               const struct report *report, struct report_page *page);

/* A problem for people to read. */
void page_of_problem(const struct faults *faults, const char *request_id, struct buffer *text);

#endif
