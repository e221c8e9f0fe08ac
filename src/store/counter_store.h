/* SPDX-License-Identifier: ISC */
/* Reads what the counter page shows, as JSON that the database composes. */
#ifndef DEPOSITD_STORE_COUNTER_STORE_H
#define DEPOSITD_STORE_COUNTER_STORE_H

#include "store/read_store.h"

/* The names of the sites. */
MUST_CHECK enum store_result read_counter_sites(struct pg *pg, const struct visible_sites *sites,
                                                struct buffer *json);
/* The site with its cup types, and the totals of its till in the business day. */
MUST_CHECK enum store_result read_counter_place(struct pg *pg, int32_t site, struct date day,
                                                struct buffer *json);
/* The newest events of the site in the business day, as an array. *more: there are others. */
MUST_CHECK enum store_result read_counter_events(struct pg *pg, int32_t site, struct date day, int limit,
                                                 struct buffer *json, bool *more);
/* The event with the id, as an array of one, or of none if the site has no such event. */
MUST_CHECK enum store_result read_counter_event(struct pg *pg, int32_t site, const struct uuid *id,
                                                struct buffer *json);

#endif
