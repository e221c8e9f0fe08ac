/* SPDX-License-Identifier: ISC */
/* Amounts of an answer. They are decimal strings, and those of one answer are mostly of one currency. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_AMOUNTS_H
#define DEPOSITD_HTTP_PAGES_PAGE_AMOUNTS_H

#include "depositd/money.h"
#include "http/pages/page_target.h"

/* Whether the member of this name is an amount of money; a rate or a place on the map is none. */
bool page_is_amount(const char *name, const json_t *value);
/* The currency that the object, or one around it, states for all its amounts. NULL: none does. */
const char *page_currency(const struct page_scope *scope);
/* The sum of a member over the items of the list; with `rows`, over the items of the lists of that name in
 * them. An item without the member counts as zero. False: a value is no amount, the amounts have different
 * decimals, or the sum is too large. */
MUST_CHECK bool page_sum(const json_t *list, const char *rows, const char *name,
                         char text[static MONEY_TEXT_MAX]);
/* The amount with its sign turned, as a new string. NULL: out of memory, or it is no amount. */
json_t *page_turned(const json_t *amount);

#endif
