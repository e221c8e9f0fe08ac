/* SPDX-License-Identifier: ISC */
/* Pages for browsers. A key can read as a page whatever it can read as JSON. The page is made from that JSON,
 * by the rules that page_rules.h has for its schema. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_H
#define DEPOSITD_HTTP_PAGES_PAGE_H

#include "http/pages/page_target.h"

/* If a page is wanted and the handler has left JSON, turns the JSON into a page. */
void page_of_answer(const struct request *request, struct answer *answer);

/* Adds the thing that an answer is, in the layout of its own page. */
void page_thing(struct page_view *view, const struct page_scope *scope);

#endif
