/* SPDX-License-Identifier: ISC */
/* The page of a fee note. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_FEE_NOTE_H
#define DEPOSITD_HTTP_PAGES_PAGE_FEE_NOTE_H

#include "http/pages/page_view.h"

/* Adds what the fees come to in words, the parties and the month, and a table for each direction in which
 * there are fees. */
void page_fee_note(struct page_view *view, const struct page_scope *scope);

#endif
