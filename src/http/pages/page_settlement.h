/* SPDX-License-Identifier: ISC */
/* The page of a settlement. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_SETTLEMENT_H
#define DEPOSITD_HTTP_PAGES_PAGE_SETTLEMENT_H

#include "http/pages/page_view.h"

/* Adds the result of the close, in words or as totals by meaning, then positions, payments and the seal.
 * Signs are from the reader's side: an amount to receive is positive. */
void page_settlement(struct page_view *view, const struct page_scope *scope);

#endif
