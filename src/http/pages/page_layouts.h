/* SPDX-License-Identifier: ISC */
/* Pages that are laid out by hand: what is between the heading and the end of the page. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_LAYOUTS_H
#define DEPOSITD_HTTP_PAGES_PAGE_LAYOUTS_H

#include "http/pages/page_view.h"

/* A card for each scheme, of the answer that index.c has made. */
void page_layout_index(struct page_view *view, const struct page_scope *scope);
/* The reports that the key may read, each with the form to ask for it. */
void page_layout_reports(struct page_view *view);

#endif
