/* SPDX-License-Identifier: ISC */
/* Whether the service would let the reader do something with the thing that a page shows. A page offers only
 * that. The service decides again when it is done. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_MAY_H
#define DEPOSITD_HTTP_PAGES_PAGE_MAY_H

#include "http/pages/page_target.h"

/* As a condition of an act, in the place of a member's value. */
#define MAY_APPROVE      "(another person proposed it)"
#define MAY_REVERSE      "(a reversal undoes it)"
#define MAY_RECEIVE      "(its cups may arrive)"
#define MAY_GIVE_UP      "(its cups may be lost)"
#define MAY_SEND         "(its cups may be dispatched)"
#define WAITS_FOR_SENDER "(some are still to be sent)"

/* *known: the text is one of these. */
bool page_may(const struct request *request, const char *what, const struct page_scope *scope, bool *known);

#endif
