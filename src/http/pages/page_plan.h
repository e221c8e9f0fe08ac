/* SPDX-License-Identifier: ISC */
/* A plan of moves as a page: the picture of its hauls, then its tables. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_PLAN_H
#define DEPOSITD_HTTP_PAGES_PAGE_PLAN_H

#include "http/pages/page_view.h"

void page_plan(struct page_view *view, const struct page_scope *scope);

#endif
