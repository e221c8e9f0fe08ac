/* SPDX-License-Identifier: ISC */
/* The tasks of a morning, each with the list of the things that wait. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_TASKS_H
#define DEPOSITD_HTTP_PAGES_PAGE_TASKS_H

#include "http/pages/page_view.h"

/* The statement tasks.sql counts them. */
struct page_task {
    const char *name;
    const char *words;
    const char *meaning; /* a sentence for a person who wonders what counts */
    const char *pattern; /* of the list that has exactly these things; its variables are the scheme, the day
                            since when (since), the scheme's first day (first_day), and the day before which
                            a count is old (count_before) */
    unsigned roles;      /* that have the task */
};

/* In the order of the morning. */
const struct page_task *page_tasks(size_t *count);
/* NULL: there is none of that name. */
const struct page_task *page_task(const char *name);

/* Adds a table of the tasks of an answer, or a sentence if there are none. */
void page_layout_tasks(struct page_view *view, const json_t *tasks);

#endif
