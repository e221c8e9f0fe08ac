/* SPDX-License-Identifier: ISC */
/* Batches of retired cups that leave a site for a re-maker. Their rows never change; a row says that a batch
 * is withdrawn. All but the reads run under the locks of recorded changes (store_reference_lock). */
#ifndef DEPOSITD_STORE_REMAKING_STORE_H
#define DEPOSITD_STORE_REMAKING_STORE_H

#include "store/read_store.h"

struct remaking_batch {
    int32_t scheme, site;
    const char *code; /* unique in the scheme */
    struct date sent_on;
    const char *remaker;
    int64_t weight_g;
    int32_t *cup_types;  /* each once */
    int64_t *quantities; /* parallel */
    size_t line_count;
    int32_t key; /* of the person who records or withdraws it */
    struct instant now;
    const char *reason; /* of a withdrawal */
};

struct remaking_state {
    int64_t number; /* 0: the scheme has no batch of this code */
    bool as_said;   /* it says the same */
    bool is_withdrawn;
    bool withdrawn_so; /* by this key for this reason */
    bool is_supplied;  /* a supply that is not reversed names it */
};
MUST_CHECK enum store_result store_remaking_find(struct pg *pg, const struct remaking_batch *batch,
                                                 struct remaking_state *state);
/* How many cups of each line were retired at the site and are in no batch: an array parallel to the lines. */
MUST_CHECK enum store_result store_remaking_left(struct pg *pg, const struct remaking_batch *batch,
                                                 int64_t *left);
MUST_CHECK enum store_result store_remaking_add(struct pg *pg, const struct remaking_batch *batch);
MUST_CHECK enum store_result store_remaking_withdraw(struct pg *pg, const struct remaking_batch *batch,
                                                     int64_t number);

/* Whether the scheme has a batch of this code that is not withdrawn. */
/* Whether batches need the cups that the entry retired. */
MUST_CHECK enum store_result store_retired_in_batch(struct pg *pg, int32_t scheme, int64_t entry,
                                                    bool *in_batch);
MUST_CHECK enum store_result store_batch_stands(struct pg *pg, int32_t scheme, const char *code,
                                                bool *stands);

MUST_CHECK enum store_result read_remaking_batches(struct pg *pg, int32_t scheme, struct list_slice *slice);
/* Appends the batch as JSON. *found false: there is none. */
MUST_CHECK enum store_result read_remaking_batch(struct pg *pg, int32_t scheme, const char *code,
                                                 struct buffer *json, bool *found);

#endif
