/* SPDX-License-Identifier: ISC */
/* The particulars of closed days: what is fixed with a day but is not under its seal. Texts are of the given
 * arena, and are only there to be hashed. */
#ifndef DEPOSITD_STORE_PARTICULARS_STORE_H
#define DEPOSITD_STORE_PARTICULARS_STORE_H

#include "depositd/seal.h"
#include "store/pg.h"

enum particulars_part {
    PARTICULARS_ENTRIES,    /* who posted an entry, and when it was recorded */
    PARTICULARS_EXCEPTIONS, /* of the entries */
    PARTICULARS_SITES,      /* what the sites did */
    PARTICULARS_DAY,        /* its bounds; when and by whom it was closed */
    PARTICULARS_PAYMENTS,   /* when they are due, to which account, why they were held */
    PARTICULARS_CHANGES,    /* of reference data and keys, all until its close */
    PARTICULARS_PARTS
};

struct particulars_day {
    int32_t scheme;
    struct date date;
    bool kept;
    struct sha256 seal, previous, digest;
    struct sha256 parts[PARTICULARS_PARTS];
    size_t part_count;               /* days that were closed before changes were kept have one part less */
    int64_t first_entry, last_entry; /* its entries are among these */
};

/* The next day of each scheme whose particulars are to be kept: with scheme, date, seal, previous and its
 * entries. */
MUST_CHECK enum store_result particulars_wanting(struct pg *pg, struct arena *arena,
                                                 struct particulars_day **days, size_t *count);
/* And what the day did with cups, for the reports: its entries are read once more. */
MUST_CHECK enum store_result particulars_add(struct pg *pg, const struct particulars_day *day);
/* The sealed days of a scheme, in ascending order. */
MUST_CHECK enum store_result particulars_days(struct pg *pg, struct arena *arena, int32_t scheme,
                                              struct particulars_day **days, size_t *count);

/* What is to be hashed of the entries of a day, for some entries at a time; an empty text: nothing. */
struct particulars_slice {
    const char *entries, *exceptions;
    int64_t last; /* the next slice starts after this entry */
    bool more;
};
MUST_CHECK enum store_result particulars_entries(struct pg *pg, struct arena *arena,
                                                 const struct particulars_day *day, int64_t after,
                                                 struct particulars_slice *slice);
/* The text of one of the other parts. */
MUST_CHECK enum store_result particulars_text(struct pg *pg, struct arena *arena,
                                              const struct particulars_day *day, enum particulars_part part,
                                              const char **text);

#endif
