/* SPDX-License-Identifier: ISC */
/* Lists of codes that a person may choose from. A field for a code refers to a list, which the page has once.
 */
#ifndef DEPOSITD_HTTP_FORMS_FORM_OPTIONS_H
#define DEPOSITD_HTTP_FORMS_FORM_OPTIONS_H

#include "http/pages/page_choices.h"

enum option_list {
    OPTIONS_NONE,
    OPTIONS_SCHEMES,
    OPTIONS_SITES,
    OPTIONS_PARTICIPANTS,
    OPTIONS_CUP_TYPES,
    OPTIONS_JOURNAL_ACCOUNTS, /* that journals may move */
    OPTIONS_ACCOUNTS,         /* of money, by kind */
    OPTIONS_DATES,            /* from which terms of the scheme hold */
    OPTIONS_COUNT
};

struct form_options {
    const struct request *request;
    const struct scheme *scheme; /* that the form is about; NULL: none is known */
    bool wanted[OPTIONS_COUNT];
    struct page_choices things[CHOOSE_KINDS];
    bool found[CHOOSE_KINDS];
};

/* The scheme follows from the code of a scheme, or else of a site. NULL: it is not known. */
void form_options_begin(struct form_options *options, const struct request *request, const char *scheme,
                        const char *site);

/* The id of the list for a field, by its name and by the pointer to it ("": it is not of the body). NULL:
 * there is none, or it would be too long. */
const char *form_options_list(struct form_options *options, const char *name, const char *pointer);

/* Adds the lists that fields refer to. */
void form_options_write(const struct form_options *options, struct buffer *text);

#endif
