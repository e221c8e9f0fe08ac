/* SPDX-License-Identifier: ISC */
/* Rules for the pages of each answer, as tables of data. A schema without a row gets the default: scalars as
 * facts, lists of objects as tables. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_RULES_H
#define DEPOSITD_HTTP_PAGES_PAGE_RULES_H

#include "report/report.h"

/* A link from a page, as a URI template. Its variables are members of the answer or, if the answer has no
 * such member, parameters of the request. */
struct page_see {
    const char *text, *pattern;
};

/* How many items of a list have a member that is not false. */
struct page_count {
    const char *member, *words;
};

enum {
    PAGE_COLUMNS_MAX = 16,
    PAGE_SEE_MAX = 7,
    PAGE_SUMS_MAX = 2,
    PAGE_COUNTS_MAX = 2,
    PAGE_FILTERS_MAX = 11
};

struct page_about {
    const char *schema;
    const char *title;                     /* NULL: the route's summary */
    const char *columns[PAGE_COLUMNS_MAX]; /* of the table of `items`, and of `rows`; NULL-ended; none: all */
    const char *rows; /* a list within the objects of a list, whose items get lines of their own */
    const char *filters[PAGE_FILTERS_MAX]; /* parameters that a form above the list asks for; NULL-ended */
    const char *sums[PAGE_SUMS_MAX];       /* lists whose columns of amounts are added up */
    struct page_count counts[PAGE_COUNTS_MAX]; /* stand beside how many items there are */
    const char *plot_of;                       /* the list that is drawn; NULL: none */
    struct report_plot plot;
    struct page_see see[PAGE_SEE_MAX];
    const char *note; /* a caution */
};

/* A link from a member's value. If a member has several rules, the first that applies counts. */
struct page_link {
    const char *schema; /* NULL: any */
    const char *member;
    const char *pattern;
    const char *when,
        *is; /* apply only if the member `when` of the same object has the value `is`; NULL: always */
};

enum { PAGE_LINKS_MAX = 128 };

/* The caution that a report's page shows; NULL: none. */
const char *page_report_note(const char *report);
/* Never NULL. */
const struct page_about *page_about(const char *schema);
const struct page_link *page_links(size_t *count);
/* Links to the pages to start from. */
const struct page_see *page_starts(size_t *count);

#endif
