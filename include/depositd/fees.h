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

/* Cups that a site is charged for by the terms of one day: the cups that it issued and took back on the day
 * that closes; or, negative, what reversals of that day took back of an earlier day, by the terms of that
 * earlier day. Site and participant are described as they were on that day. */
struct fee_part {
    const struct terms *terms;
    struct cups issued, returned;
    bool tax_registered;
    bool standing; /* the site owes the standing fee of a month */
    int32_t participant;
    enum site_kind site_kind;
    int32_t cup_type; /* 0: of any type, where no row of the terms names one; or no cups, a standing fee */
};

/* The row of the terms that gives a fee to the cups of a part, counted from 1; 0: the terms' own fee holds.
 * Of the rows that state the fee and fit, one that names the participant comes first, then one that names the
 * kind of site, then one that names the cup type. */
int32_t fee_row_of(const struct fee_part *part, enum fee_kind kind);
struct money fee_of_row(const struct terms *terms, enum fee_kind kind, int32_t row);

/* A site's charge by one row of one document of terms, at one rate of tax. */
struct fee_line {
    int32_t site;
    enum fee_kind kind;
    const char *word;  /* of the kind, as settlements name it */
    struct date terms; /* the day from which they hold */
    int32_t row;       /* as fee_row_of */
    struct rate tax_rate;
    struct cups quantity; /* cups less reversed ones, or months */
    struct money each;
};

/* Room for the lines of a site: the caller's. FEE_KINDS for each part are always enough. */
struct fee_lines {
    struct fee_line *items;
    size_t count;
};

/* Per kind of fee: without tax, and the tax on it. */
struct fees {
    struct money fee[FEE_KINDS], tax[FEE_KINDS];
};

/* Fees of a site for a day: a service fee per cup issued, a handling fee per cup returned, a standing fee.
 * Each is the sum over all parts. The tax on each is rounded once, and there is none on the handling fee of a
 * participant that is not registered for it. */
MUST_CHECK enum reason fees_of(int32_t site, const struct fee_part *parts, size_t count,
                               struct fee_lines *lines, struct fees *fees);

#endif
