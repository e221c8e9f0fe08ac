/* SPDX-License-Identifier: ISC */
/* The form above a list that asks for a part of it. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_FILTER_H
#define DEPOSITD_HTTP_PAGES_PAGE_FILTER_H

#include "http/pages/page_target.h"

/* Adds the form, if the list has one (page_rules.h). It begins with what the request asks for. */
void page_filter(struct page_view *view);

#endif
