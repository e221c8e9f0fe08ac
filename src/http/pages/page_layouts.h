/* SPDX-License-Identifier: ISC */
/* Pages with a layout made by hand: the part between the heading and the end of the page. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_LAYOUTS_H
#define DEPOSITD_HTTP_PAGES_PAGE_LAYOUTS_H

#include "http/pages/page_view.h"

/* Adds the tasks, and a card for each scheme, from the answer that index.c has made. */
void page_layout_index(struct page_view *view, const struct page_scope *scope);
/* Adds the reports that the key may read, each with its form. */
void page_layout_reports(struct page_view *view);

#endif
