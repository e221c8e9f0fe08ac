/* SPDX-License-Identifier: ISC */
/* The language of pages, by what the browser prefers (RFC 9110 section 12.5.4). Pure; any thread. */
#ifndef DEPOSITD_HTTP_REQUEST_LANGUAGE_H
#define DEPOSITD_HTTP_REQUEST_LANGUAGE_H

#include "words/words.h"

/* The language that an Accept-Language header prefers among those that there are; NULL: English. A range with
 * a region, as fr-CA, takes the language without it (RFC 4647 section 3.4). Among equals the first one in the
 * header wins. If the header accepts none of them, pages are in English all the same. `accept` NULL: there is
 * no header. */
const struct words *language_negotiate(const char *accept);

#endif
