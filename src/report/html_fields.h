/* SPDX-License-Identifier: ISC */
/* Fields of a form that asks for a page: parameters in the address, filled with the ones of this request. */
#ifndef DEPOSITD_REPORT_HTML_FIELDS_H
#define DEPOSITD_REPORT_HTML_FIELDS_H

#include "base/buffer.h"

struct html_choices {
    const char *const *codes; /* NULL-ended; NULL: there is nothing to choose from */
    const char *const *names; /* parallel to the codes; NULL: the codes are words of the machine */
};

/* A list to choose one from, each code with its name beside it. `or_any`: it begins with "all". */
void html_select_field(struct buffer *page, const char *name, const struct html_choices *choices,
                       const char *chosen, bool or_any);
/* `type` is that of HTML's input. `value` may be NULL. */
void html_input_field(struct buffer *page, const char *name, const char *type, const char *value,
                      bool required);
/* A parameter that the form keeps. */
void html_kept_field(struct buffer *page, const char *name, const char *value);
/* The button that asks for the page. */
void html_show_button(struct buffer *page);

#endif
