/* SPDX-License-Identifier: ISC */
/* The part of the ledger that a key may see. */
#ifndef DEPOSITD_HTTP_REQUEST_VISIBLE_H
#define DEPOSITD_HTTP_REQUEST_VISIBLE_H

#include "http/request/handler.h"
#include "store/read_store.h"

/* The sites that the request's key may see. The list belongs to the snapshot or to the request's arena.
 * False: out of memory, and a fault has been added. */
MUST_CHECK bool request_visible(const struct request *request, struct answer *answer,
                                struct visible_sites *visible);

#endif
