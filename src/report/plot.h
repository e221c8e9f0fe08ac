/* SPDX-License-Identifier: ISC */
/* A picture of some rows as inline SVG: lines over days, or bars, with axes, a level to be reached, and the
 * same said in words. It keeps a bounded number of points, so that rows may stream past. It draws positions
 * on a screen, not money: ten-thousandths, and a value beyond its scale at the scale's end. One thread at a
 * time. */
#ifndef DEPOSITD_REPORT_PLOT_H
#define DEPOSITD_REPORT_PLOT_H

#include "base/buffer.h"
#include "report/report.h"

struct plot;

/* `about` is borrowed, and names the axes. NULL: out of memory. */
MUST_CHECK struct plot *plot_new(const struct report_plot *about);
void plot_free(struct plot *plot);

/* A row; `series` and `target` may be NULL. A row without numbers is not drawn. */
void plot_add(struct plot *plot, const char *x, const char *y, const char *series, const char *target);
/* The figure, with its caption and key; nothing where there is nothing to draw. */
void plot_write(const struct plot *plot, struct buffer *page);

#endif
