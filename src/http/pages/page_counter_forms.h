/* SPDX-License-Identifier: ISC */
/* The forms of the counter page, and the faults of a form that came back. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_COUNTER_FORMS_H
#define DEPOSITD_HTTP_PAGES_PAGE_COUNTER_FORMS_H

#include "http/pages/page_counter_fields.h"

struct counter_view {
    const struct request *request;
    const struct counter_page *about;
    const char *currency, *site; /* codes */
    struct buffer *text;
};

/* Adds a cup type with its buttons, and the form for more than one cup. */
void counter_add_cup(const struct counter_view *view, const json_t *cup);
/* Adds the form that undoes an event, unless nothing is to be undone. `form` tells two forms for one event
 * apart. */
void counter_add_undo(const struct counter_view *view, const json_t *event, const char *form);
/* Adds the faults. NULL: none. */
void counter_add_faults(const struct faults *faults, struct buffer *text);

/* Adds a sentence of page_counter_words.h, escaped. */
void counter_add_said(const struct counter_view *view,
                      void (*say)(struct buffer *, const json_t *, const char *), const json_t *about);

#endif
