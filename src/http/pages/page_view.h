/* SPDX-License-Identifier: ISC */
/* Turns JSON into the parts of a page. page.c and page_layouts.c put the parts together. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_VIEW_H
#define DEPOSITD_HTTP_PAGES_PAGE_VIEW_H

#include "http/pages/page_value.h"

const char *page_title(const struct page_view *view);
/* Adds a whole object: scalars as facts, objects as sections, lists of objects as tables. */
void page_object(struct page_view *view, const struct page_scope *scope);
/* Adds a list of objects as a table. */
void page_table(struct page_view *view, const struct page_scope *scope, const char *name, const json_t *list);
/* Adds the picture that the page's rule describes, of a list of objects. */
void page_plot(const struct page_view *view, const json_t *list);

#endif
