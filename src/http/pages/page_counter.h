/* SPDX-License-Identifier: ISC */
/* The page of a counter: for a cafe whose till does not post events. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_COUNTER_H
#define DEPOSITD_HTTP_PAGES_PAGE_COUNTER_H

#include "http/pages/page_counter_fields.h"

/* Writes the page. False: out of memory. */
MUST_CHECK bool page_counter(const struct request *request, const struct counter_page *about,
                             struct buffer *text);

/* Writes the page that asks which site. `faults` NULL: none. */
MUST_CHECK bool page_counter_sites(const struct request *request, const json_t *sites,
                                   const struct faults *faults, struct buffer *text);

#endif
