/* SPDX-License-Identifier: ISC */
/* Slices of lists: reads ?limit=, ?cursor= and ?order=, and writes the answer
 * {"items":[…],"next":…,"previous":…}.
 *
 * A cursor is the key of the last item of the slice before: a number, a code, or a day with an id. In a feed
 * it may be a number with a day, after the cut of that day. The cursor
 * of the slice that ends before an item is "back/" and the item's key; only lists with an order have it.
 * Clients take cursors from `next` and `previous`, and must not look into them. On pages
 * such a list begins with the newest. Without ?order= JSON has only the way of the first release: from the
 * oldest on, with `next` alone. */
#ifndef DEPOSITD_HTTP_REQUEST_SLICE_H
#define DEPOSITD_HTTP_REQUEST_SLICE_H

#include "http/request/handler.h"
#include "store/read_store.h"

/* Whether the list is shown from the newest on. */
bool slice_is_newest(const struct request *request, enum media media);
/* Whether it is shown in an order, from which it can be read both ways. */
bool slice_goes_both_ways(const struct request *request, enum media media);

/* For a list in the order of a number. Reads the parameters, and begins the body. The store then adds the
 * items. False: a fault has been added. */
MUST_CHECK bool slice_begin(const struct request *request, struct answer *answer, struct list_slice *slice);
/* The same for a feed. */
MUST_CHECK bool slice_begin_feed(const struct request *request, struct answer *answer,
                                 struct list_slice *slice);
/* After the store has added the items: answers its failure, or ends the body, with `next` and `previous` if
 * there may be more items. */
void slice_end(const struct request *request, struct answer *answer, enum store_result result,
               const struct list_slice *slice);

/* Reads the parameters of a list in the order of a text. False: a fault has been added. */
MUST_CHECK bool slice_read_keys(const struct request *request, struct answer *answer,
                                struct key_slice *slice);
/* The same, and begins the body. */
MUST_CHECK bool slice_begin_keys(const struct request *request, struct answer *answer,
                                 struct key_slice *slice);
/* After the store has added the items: answers its failure, or ends the body, with `next` if there are more
 * items. */
void slice_end_keys(const struct request *request, struct answer *answer, const struct key_slice *wanted,
                    enum store_result result, const struct json_slice *slice);

/* Reads ?limit=. False: a fault has been added. */
MUST_CHECK bool slice_read_limit(const struct request *request, struct answer *answer, int *limit);
/* Adds the member `next`, and the same target as a Link. The next slice begins after `key`. */
void slice_add_next(const struct request *request, struct answer *answer, const char *key);
/* Refuses the cursor. Always returns false, so the caller can return its result. */
bool slice_refuse_cursor(struct answer *answer);

#endif
