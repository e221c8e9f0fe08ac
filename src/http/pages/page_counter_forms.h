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

/* A form of the page: its kind, and the thing that it is about, which tell it from the others. */
struct about_form {
    const char *form;         /* "tap", "more" … */
    const char *name, *value; /* the cup type, the event to undo, the shipment … */
    const char *act;          /* of a form with one button; NULL: the buttons say */
};

const char *counter_act_word(enum counter_act act);
/* Whether this is the form that came back with faults. */
bool counter_came_back(const struct counter_view *view, const struct about_form *form);
/* Begins the form with its hidden fields. The caller ends it. */
void counter_begin_form(const struct counter_view *view, const struct about_form *form, const char *class);

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
