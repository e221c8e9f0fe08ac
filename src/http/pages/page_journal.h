/* SPDX-License-Identifier: ISC */
/* A journal as an accountant reads it. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_JOURNAL_H
#define DEPOSITD_HTTP_PAGES_PAGE_JOURNAL_H

#include "http/pages/page_target.h"

void page_journal(struct page_view *view, const struct page_scope *scope);

#endif
