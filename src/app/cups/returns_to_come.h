/* SPDX-License-Identifier: ISC */
/* How many of the cups that customers have may still come back: the weeks of issue as the domain's triangle,
 * its projection, and a test of the method on the past. */
#ifndef DEPOSITD_APP_CUPS_RETURNS_TO_COME_H
#define DEPOSITD_APP_CUPS_RETURNS_TO_COME_H

#include "depositd/civil.h"
#include "depositd/estimate.h"
#include "store/store_result.h"

#include <stdint.h>

struct arena;
struct pg;

enum { RETURN_WEEKS = 26 };

/* Cups of a week of issue. */
struct return_week {
    int64_t issued, back, forfeited, out;
};

struct returns_to_come {
    struct date first, last; /* of the weeks */
    int64_t out;             /* cups with customers at the end */
    int64_t older_out;       /* of these: issued before the weeks, or by an opening */
    struct return_week weeks[RETURN_WEEKS];
    struct triangle triangle;
    enum estimate_result result;
    struct projection projection; /* to_come of a week is at most what is out of it */
    struct {
        enum estimate_result result;
        size_t weeks; /* how long ago */
        double expected, came, error;
    } test;
};

/* *found false: no week has been closed. */
MUST_CHECK enum store_result returns_to_come_read(struct pg *pg, struct arena *arena, int32_t scheme,
                                                  int32_t cup_type, struct returns_to_come *returns,
                                                  bool *found);

#endif
