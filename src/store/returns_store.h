/* SPDX-License-Identifier: ISC */
/* The cups that were issued in each week, by what has become of them. */
#ifndef DEPOSITD_STORE_RETURNS_STORE_H
#define DEPOSITD_STORE_RETURNS_STORE_H

#include "base/arena.h"
#include "depositd/civil.h"
#include "store/pg.h"

enum { FATE_FORFEITED = -1, FATE_OUT = -2, NO_WEEK = -1 };

struct fate_row {
    struct date first, last; /* of all weeks; the same in each row */
    int64_t out;             /* cups with customers at their end, of any week; likewise */
    int32_t week;            /* place of the week of issue; NO_WEEK: no cup was issued */
    int32_t later;           /* weeks until they came back, or one of the fates above */
    int64_t cups;
};

struct fate_rows {
    struct fate_row *items; /* in the arena */
    size_t count;
};
/* Of the last `weeks` weeks. No rows: no week has been closed. */
MUST_CHECK enum store_result read_fates(struct pg *pg, struct arena *arena, int32_t scheme, int32_t cup_type,
                                        int weeks, struct fate_rows *rows);

#endif
