/* SPDX-License-Identifier: ISC */
/* How many items a list has. A figure on another page leads here, and a reader finds it again. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_COUNTS_H
#define DEPOSITD_HTTP_PAGES_PAGE_COUNTS_H

#include "http/pages/page_target.h"

/* Adds how many items the list has, or this part of it, and the counts of the page's rule. */
void page_counts(const struct page_view *view, const json_t *list);

#endif
