/* SPDX-License-Identifier: ISC */
/* The counter page lists the shipments that its site has to send and to receive. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_COUNTER_SHIPMENTS_H
#define DEPOSITD_HTTP_PAGES_PAGE_COUNTER_SHIPMENTS_H

#include "http/pages/page_counter_forms.h"

/* Adds both lists with their forms; nothing if both are empty. */
void counter_add_shipments(const struct counter_view *view);

#endif
