/* SPDX-License-Identifier: ISC */
/* Values of an answer on a page. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_VALUE_H
#define DEPOSITD_HTTP_PAGES_PAGE_VALUE_H

#include "http/pages/page_target.h"

/* Adds the value of a member, with its link. */
void page_value(struct page_view *view, const struct page_scope *scope, const char *name,
                const json_t *value);
/* Whether the text is a hash or an id. People compare and copy these rather than read them. */
bool page_is_code(const char *text);

#endif
