/* SPDX-License-Identifier: ISC */
/* The page of all schemes: a sentence about the rates that the reader stated, then the tables. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_OFFICE_H
#define DEPOSITD_HTTP_PAGES_PAGE_OFFICE_H

#include "http/pages/page_view.h"

void page_office(struct page_view *view, const struct page_scope *scope);

#endif
