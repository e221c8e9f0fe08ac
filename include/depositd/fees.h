/* SPDX-License-Identifier: ISC */
/* A site's activity in a business day, and the fees that follow from it. Pure; any thread. */
#ifndef DEPOSITD_FEES_H
#define DEPOSITD_FEES_H

#include "depositd/posting.h"

/* Of one site: cups, and minor units of its dealings with the pool. Reversals subtract. */
struct activity {
    int64_t issued, returned;    /* cups, at the counter */
    int64_t collected, refunded; /* at the counter */
    int64_t stock;               /* debits of its clearing for cups on deposit, counts and losses */
    int64_t other;               /* and for anything else */
};

/* Adds one leg of an entry to the activity of the leg's site; legs that mean nothing for a site add nothing.
 * `kind` is the entry's, of a mirrored leg the reversed entry's with `mirrored` set. False: overflow. */
MUST_CHECK bool activity_add(struct activity *activity, enum entry_kind kind, bool mirrored, struct leg leg);
/* The site whose activity the leg is part of; 0: none. */
int32_t activity_site(struct leg leg);

struct fees {
    struct money service_fee, service_tax, handling_fee, handling_tax;
};

/* Cups that a site is charged for by the terms of one day: the cups that it issued and took back on the day
 * that closes; or, negative, what reversals of that day took back of an earlier day, by the terms of that
 * earlier day. */
struct fee_part {
    const struct terms *terms;
    struct cups issued, returned;
    bool tax_registered;
};

/* Fees of a site for a day: service fee per cup issued, handling fee per cup returned; tax on each is rounded
 * once, and there is none on the handling fee of a participant that is not registered for it. */
MUST_CHECK enum reason fees_of(const struct fee_part *parts, size_t count, struct fees *fees);

#endif
