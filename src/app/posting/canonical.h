/* SPDX-License-Identifier: ISC */
/* Canonical JSON (RFC 8785) for hashing: an event as recorded, and an entry as a leaf of its day's tree.
 *
 * Members are in ascending order, and there is no white space. Instants are in UTC. Amounts and counts are as
 * the interface shows them. Optional members that were not given are absent, and so is a condition of
 * "sound". */
#ifndef DEPOSITD_APP_POSTING_CANONICAL_H
#define DEPOSITD_APP_POSTING_CANONICAL_H

#include "base/buffer.h"
#include "depositd/network.h"
#include "depositd/posting.h"

void canonical_event(const struct event *event, struct buffer *text);
/* The canonical text of an event that two people post, with the name of the key that approved it. */
void canonical_approved(const char *event, const char *key, struct buffer *text);

struct canonical_entry {
    const struct network *network;
    const struct scheme *scheme;
    int64_t entry;
    struct date business_date;
    enum entry_kind kind;
    const char *event;    /* canonical text; NULL: an entry of the close */
    const char *agreed;   /* by canonical_agreed; NULL: nothing is agreed */
    const char *followed; /* by canonical_followed; NULL: it follows no other scheme's entry */
    const struct leg *legs;
    size_t leg_count;
};

/* {"agreed":[…],"business_date":…,"entry":…,"event":{…},"follows":{…},"kind":…,"legs":[…],"scheme":…} */
void canonical_leaf(const struct canonical_entry *entry, struct buffer *text);

/* [{"amount":…,"currency":…,"currency_of":"host","home":…,"host":…,"rate":…},…] The database writes the same
 * text: agreed_text in migration 0041. */
void canonical_agreed(const struct network *network, const struct agreed *agreed, size_t count,
                      struct buffer *text);
/* {"entry":…,"event_id":…,"hash":…,"scheme":…} Likewise: followed_text. */
void canonical_followed(const struct network *network, const struct followed *followed, struct buffer *text);

/* site_stock(anchor,cup-300) */
void canonical_account(const struct network *network, struct account account, struct buffer *text);

#endif
