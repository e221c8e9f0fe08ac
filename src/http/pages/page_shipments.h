/* SPDX-License-Identifier: ISC */
/* Requested shipments as pages. The list begins with the picture of those that wait, and a shipment with the
 * picture of what became of its cups. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_SHIPMENTS_H
#define DEPOSITD_HTTP_PAGES_PAGE_SHIPMENTS_H

#include "http/pages/page_view.h"

void page_shipments(struct page_view *view, const struct page_scope *scope);
void page_shipment(struct page_view *view, const struct page_scope *scope);

#endif
