/* SPDX-License-Identifier: ISC */
/* Lists that are sliced by the codes of what they list: {"items":[…],"next":…}. */
#ifndef DEPOSITD_HTTP_REQUEST_PAGING_H
#define DEPOSITD_HTTP_REQUEST_PAGING_H

#include "http/request/handler.h"
#include "store/json_slice.h"

struct paging {
    const struct request *request;
    int limit;
    const char *after; /* ?cursor=; NULL: from the first */
};

/* Reads ?limit= and ?cursor=. False: a fault has been added. */
MUST_CHECK bool paging_read(const struct request *request, struct answer *answer, struct paging *paging);
/* The same, and begins the answer. */
MUST_CHECK bool paging_begin(const struct request *request, struct answer *answer, struct paging *paging);
/* Ends the answer after the items, with next and its Link where there is more. */
void paging_end(const struct paging *paging, const struct json_slice *slice, struct answer *answer);

#endif
