/* SPDX-License-Identifier: ISC */
/* The names that stand beside codes on pages. They come from the snapshot, so a page of any length asks the
 * database for none. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_NAMES_H
#define DEPOSITD_HTTP_PAGES_PAGE_NAMES_H

#include "http/request/handler.h"

/* The name of the site, participant or cup type that a member's value is the code of. NULL: it is no such
 * code, or the key may not know the name. */
const char *page_name_of(const struct request *request, const char *member, const char *code);

#endif
