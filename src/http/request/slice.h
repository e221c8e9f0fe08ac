/* SPDX-License-Identifier: ISC */
/* Slices of lists: reads ?limit= and ?cursor=, and writes the answer {"items":[…],"next":…}.
 *
 * A cursor is the key of the last item of the slice before: a number, a code, or a day with an id. In a feed
 * it may be a number with a day, after the cut of that day. Clients
 * take it from `next` and must not look into it. */
#ifndef DEPOSITD_HTTP_REQUEST_SLICE_H
#define DEPOSITD_HTTP_REQUEST_SLICE_H

#include "http/request/handler.h"
#include "store/read_store.h"

/* For a list in the order of a number. Reads the parameters, and begins the body. The store then adds the
 * items. False: a fault has been added. */
MUST_CHECK bool slice_begin(const struct request *request, struct answer *answer, struct list_slice *slice);
/* The same for a feed. */
MUST_CHECK bool slice_begin_feed(const struct request *request, struct answer *answer,
                                 struct list_slice *slice);
/* After the store has added the items: answers its failure, or ends the body, with `next` if there may be
 * more items. */
void slice_end(const struct request *request, struct answer *answer, enum store_result result,
               const struct list_slice *slice);

/* The slice asked for, of a list in the order of a text such as a code. */
struct key_slice {
    int limit;
    const char *after; /* the key of the last item before; NULL: from the first */
};

/* Reads the parameters. False: a fault has been added. */
MUST_CHECK bool slice_read_keys(const struct request *request, struct answer *answer,
                                struct key_slice *slice);
/* The same, and begins the body. */
MUST_CHECK bool slice_begin_keys(const struct request *request, struct answer *answer,
                                 struct key_slice *slice);
/* After the store has added the items: answers its failure, or ends the body, with `next` if there are more
 * items. */
void slice_end_keys(const struct request *request, struct answer *answer, enum store_result result,
                    const struct json_slice *slice);

/* Adds the member `next`, and the same target as a Link. The next slice begins after `key`. */
void slice_add_next(const struct request *request, struct answer *answer, const char *key);
/* Refuses the cursor. Always returns false, so the caller can return its result. */
bool slice_refuse_cursor(struct answer *answer);

#endif
