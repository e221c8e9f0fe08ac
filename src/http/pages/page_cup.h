/* SPDX-License-Identifier: ISC */
/* A cup with identity as a page: its facts, the picture of its journey, and its sightings. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_CUP_H
#define DEPOSITD_HTTP_PAGES_PAGE_CUP_H

#include "http/pages/page_view.h"

void page_cup(struct page_view *view, const struct page_scope *scope);

#endif
