/* SPDX-License-Identifier: ISC */
/* What a site did in a business day, and the fees that follow from it. Pure; any thread. */
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

/* Adds what one leg of an entry means for the leg's site; legs that mean nothing for a site add nothing.
 * `kind` is the entry's, of a mirrored leg the reversed entry's with `mirrored` set. False: overflow. */
MUST_CHECK bool activity_add(struct activity *activity, enum entry_kind kind, bool mirrored, struct leg leg);
/* The site whose activity the leg is part of; 0: none. */
int32_t activity_site(struct leg leg);

struct fees {
    struct money service_fee, service_tax, handling_fee, handling_tax;
};

/* Fees of a site for a day: service fee per cup issued, handling fee per cup returned; tax once per site and
 * fee, and none on the handling fee of a participant that is not registered for it. */
MUST_CHECK enum reason fees_of(const struct terms *terms, struct cups issued, struct cups returned,
                               bool tax_registered, struct fees *fees);

#endif
