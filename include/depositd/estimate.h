/* SPDX-License-Identifier: ISC */
/* The cups that may still come back, by the chain ladder, and how far that estimate may be off: T. Mack,
 * "Distribution-free calculation of the standard error of chain ladder reserve estimates", ASTIN Bulletin 23
 * (1993), 213-225. Pure; any thread. These are estimates and never amounts to post, so they are
 * floating-point numbers. */
#ifndef DEPOSITD_ESTIMATE_H
#define DEPOSITD_ESTIMATE_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stddef.h>

enum { TRIANGLE_MAX = 52, TRIANGLE_MIN = 4 };

/* Cups by the period of their issue (row) and by how many periods later they came back (column): all that
 * came back so far. Row i is known through column count - 1 - i. */
struct triangle {
    size_t count; /* periods */
    double back[TRIANGLE_MAX][TRIANGLE_MAX];
};

/* By row, the oldest period first. */
struct projection {
    size_t count;
    double factor[TRIANGLE_MAX];   /* from column k to column k + 1 */
    double variance[TRIANGLE_MAX]; /* Mack's sigma squared of that step */
    double ultimate[TRIANGLE_MAX]; /* cups that come back in the end */
    double to_come[TRIANGLE_MAX];  /* less those that have */
    double error[TRIANGLE_MAX];    /* standard error of both */
    double total, total_error;     /* to come of all rows */
};

enum estimate_result {
    ESTIMATE_MADE,
    ESTIMATE_TOO_SHORT, /* fewer than TRIANGLE_MIN periods */
    ESTIMATE_TOO_THIN   /* a column has no cups, from which a step could follow */
};

MUST_CHECK enum estimate_result estimate_project(const struct triangle *triangle,
                                                 struct projection *projection);

/* The triangle as it was `periods` ago: without its last rows and its last diagonals. */
void estimate_cut(const struct triangle *triangle, size_t periods, struct triangle *earlier);

/* "made", "too_short", "too_thin" */
const char *estimate_result_word(enum estimate_result result);

#endif
