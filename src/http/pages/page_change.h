/* SPDX-License-Identifier: ISC */
/* Shows what a proposal changes: each member as it was and as it will be. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_CHANGE_H
#define DEPOSITD_HTTP_PAGES_PAGE_CHANGE_H

#include "http/pages/page_target.h"

/* Whether the list has changes with the states before and after. */
bool page_is_changes(const json_t *list);
/* Adds a table for each change. */
void page_changes(struct page_view *view, const struct page_scope *scope, const json_t *list);

#endif
