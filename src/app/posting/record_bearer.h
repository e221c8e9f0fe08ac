/* SPDX-License-Identifier: ISC */
/* The bearer of cups lost on the road. A loss may leave it open; then it is decided when the loss is
 * recorded, and the event is recorded with it. So a replay of the feed posts the same, whatever has changed
 * since. */
#ifndef DEPOSITD_APP_POSTING_RECORD_BEARER_H
#define DEPOSITD_APP_POSTING_RECORD_BEARER_H

#include "app/posting/recording.h"

/* Decides on the bearer if a loss leaves it open. All other events stay as they are. */
MUST_CHECK enum store_result record_decide_bearer(struct recording *recording);

/* Whether the event, a loss that leaves the bearer open, was recorded with this digest. */
MUST_CHECK enum store_result record_bearer_decided(const struct event *event, struct arena *arena,
                                                   const uint8_t digest[static SHA256_SIZE / 2],
                                                   bool *decided);

/* Writes the text and the digest of an event anew, after a member has changed. The text is in the arena. */
MUST_CHECK enum store_result record_write_anew(struct event *event, struct arena *arena);

#endif
