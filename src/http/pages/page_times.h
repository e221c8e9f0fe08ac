/* SPDX-License-Identifier: ISC */
/* The times of a page, as a clock in its scheme shows them. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_TIMES_H
#define DEPOSITD_HTTP_PAGES_PAGE_TIMES_H

#include "http/pages/page_target.h"

/* Whether the text is an instant as JSON has it, in UTC. */
bool page_is_instant(const char *text);
/* Finds the local times of all instants in an answer, at most PAGE_TIMES_MAX, by one question to the
 * database. NULL: there are none, the page is of no scheme, or the database gave no answer; the page then has
 * UTC. The caller ends it. */
json_t *page_times(const struct request *request, const json_t *answer);
/* Adds an instant as it is shown. */
void page_time(const struct page_view *view, const char *instant);
/* Adds the name of the zone that the page's times are of, if it has local times. */
void page_zone(const struct page_view *view);

#endif
