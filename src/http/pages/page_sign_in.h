/* SPDX-License-Identifier: ISC */
/* The page on which a person signs in. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_SIGN_IN_H
#define DEPOSITD_HTTP_PAGES_PAGE_SIGN_IN_H

#include "http/request/handler.h"

/* Facts from the attempt before, and the way on. */
struct sign_in {
    const char *name; /* of the key, as typed before; NULL: not yet */
    const char *next; /* the target to go to afterwards; NULL: the start */
    bool was_wrong;   /* the name and the key did not fit */
    bool was_late;    /* a form came after its session had ended */
};

void page_sign_in(const struct sign_in *about, struct buffer *text);

/* The request's own target, to come back to it after signing in. NULL: it is no read, or is too long. */
const char *page_sign_in_next(const struct request *request);

/* The target, if it is one of this service: a path, with nothing that a browser may take for a host.
 * Otherwise NULL, also for NULL. */
const char *page_own_target(const char *target);

#endif
