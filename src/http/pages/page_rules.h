/* SPDX-License-Identifier: ISC */
/* What pages know of the answers they are made of: tables of data. A schema that stands in none of them reads
 * well enough: scalars as facts, lists of objects as tables. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_RULES_H
#define DEPOSITD_HTTP_PAGES_PAGE_RULES_H

#include "report/report.h"

/* Where a page leads, as a URI template whose variables are members of the answer, else what was asked for.
 */
struct page_see {
    const char *text, *pattern;
};

enum { PAGE_COLUMNS_MAX = 12, PAGE_SEE_MAX = 6 };

struct page_about {
    const char *schema;
    const char *title;                     /* NULL: the route's summary */
    const char *columns[PAGE_COLUMNS_MAX]; /* of the table of `items`, NULL-ended; none: all */
    const char *rows;    /* a list within the objects of a list, whose items get lines of their own */
    const char *plot_of; /* the list that is drawn; NULL: none */
    struct report_plot plot;
    struct page_see see[PAGE_SEE_MAX];
    const char *note; /* a caution */
};

/* A member's value leads somewhere. Of several rules for a member the first that applies counts. */
struct page_link {
    const char *schema; /* NULL: any */
    const char *member;
    const char *pattern;
    const char *when, *is; /* only where this member of the same object has this value; NULL: always */
};

enum { PAGE_LINKS_MAX = 64 };

/* The caution that a report's page shows; NULL: none. */
const char *page_report_note(const char *report);
/* Never NULL. */
const struct page_about *page_about(const char *schema);
const struct page_link *page_links(size_t *count);
/* The way to the pages that one starts from. */
const struct page_see *page_starts(size_t *count);

#endif
