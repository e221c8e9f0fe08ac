/* SPDX-License-Identifier: ISC */
/* The things that a person may choose from in a form. The key may know of all of these. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_CHOICES_H
#define DEPOSITD_HTTP_PAGES_PAGE_CHOICES_H

#include "http/request/handler.h"

/* A person does not look through a longer list. A text field replaces it. */
enum { PAGE_CHOICES_MAX = 200 };

enum page_choice_of { CHOOSE_SCHEME, CHOOSE_SITE, CHOOSE_PARTICIPANT, CHOOSE_CUP_TYPE, CHOOSE_KINDS };

struct page_choices {
    const char **codes; /* NULL-ended, in order; NULL: there are too many */
    const char **names; /* parallel to the codes; of a thing without a name its code */
    size_t count;
};

/* `scheme`: of the sites, and of the participants that have sites; NULL: any. False: out of memory. */
MUST_CHECK bool page_choices(const struct request *request, enum page_choice_of of,
                             const struct scheme *scheme, struct page_choices *choices);

#endif
