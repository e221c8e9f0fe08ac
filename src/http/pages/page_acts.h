/* SPDX-License-Identifier: ISC */
/* Links from a page to the forms of what can be done there. They are shown to a person who has signed in, for
 * operations that the key's role may use. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_ACTS_H
#define DEPOSITD_HTTP_PAGES_PAGE_ACTS_H

#include "http/pages/page_target.h"

/* Whether the rows of a list may have links. `list`: the name of the member that holds it. */
bool page_has_row_acts(const struct page_view *view, const char *list);
/* Adds the links of an item of the list. */
void page_row_acts(const struct page_view *view, const char *list, const struct page_scope *item);
/* Adds the links of the page itself, as a list. */
void page_acts(const struct page_view *view, const struct page_scope *scope);

#endif
