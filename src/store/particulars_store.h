/* SPDX-License-Identifier: ISC */
/* The particulars of closed days are fixed with the day but not under its seal. Their texts are read only for
 * hashing, and are put into the given arena. */
#ifndef DEPOSITD_STORE_PARTICULARS_STORE_H
#define DEPOSITD_STORE_PARTICULARS_STORE_H

#include "depositd/seal.h"
#include "store/pg.h"

enum particulars_part {
    PARTICULARS_ENTRIES,    /* the keys that posted the entries, and the times of recording */
    PARTICULARS_EXCEPTIONS, /* of the entries */
    PARTICULARS_SITES,      /* the doings of the sites */
    PARTICULARS_DAY,        /* its bounds; when and by whom it was closed */
    PARTICULARS_PAYMENTS,   /* their due dates and accounts, and the reasons why they were held */
    PARTICULARS_CHANGES,    /* of reference data and keys, all up to its close */
    PARTICULARS_FEES,       /* the row of the terms that gave each fee, and for how many cups */
    PARTICULARS_FEE_NOTES,  /* that its close issued */
    PARTICULARS_PARTS
};

struct particulars_day {
    int32_t scheme;
    struct date date;
    bool kept;
    struct sha256 seal, previous, digest;
    struct sha256 parts[PARTICULARS_PARTS];
    size_t part_count; /* fewer for days that were closed before changes, lines of fees, or fee notes were
                          kept */
    int64_t first_entry, last_entry; /* the day's entries are among these */
};

/* The next day of each scheme whose particulars are not kept yet. Fills scheme, date, seal, previous and the
 * range of entries. */
MUST_CHECK enum store_result particulars_wanting(struct pg *pg, struct arena *arena,
                                                 struct particulars_day **days, size_t *count);
/* Keeps the hashes, and what the day did with cups, for the reports. It reads the day's entries once more. */
MUST_CHECK enum store_result particulars_add(struct pg *pg, const struct particulars_day *day);
/* The sealed days of a scheme, in ascending order. */
MUST_CHECK enum store_result particulars_days(struct pg *pg, struct arena *arena, int32_t scheme,
                                              struct particulars_day **days, size_t *count);

/* The text to hash for some of a day's entries. An empty text: nothing to hash. */
struct particulars_slice {
    const char *entries, *exceptions;
    int64_t last; /* the next slice starts after this entry */
    bool more;
};
MUST_CHECK enum store_result particulars_entries(struct pg *pg, struct arena *arena,
                                                 const struct particulars_day *day, int64_t after,
                                                 struct particulars_slice *slice);
/* Gives the text to hash for one of the other parts. */
MUST_CHECK enum store_result particulars_text(struct pg *pg, struct arena *arena,
                                              const struct particulars_day *day, enum particulars_part part,
                                              const char **text);

#endif
