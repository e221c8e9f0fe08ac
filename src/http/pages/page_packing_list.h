/* SPDX-License-Identifier: ISC */
/* The packing list of a requested shipment, to be printed. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_PACKING_LIST_H
#define DEPOSITD_HTTP_PAGES_PAGE_PACKING_LIST_H

#include "http/pages/page_view.h"

/* Adds both sites, the cups with room for the counts of both sides, and room for signatures. */
void page_packing_list(struct page_view *view, const struct page_scope *scope);

#endif
