/* SPDX-License-Identifier: ISC */
/* Media types: what is asked for, what is sent, and what they are called. */
#ifndef DEPOSITD_HTTP_REQUEST_MEDIA_H
#define DEPOSITD_HTTP_REQUEST_MEDIA_H

#include "depositd/attributes.h"

#include <stdbool.h>

enum media {
    MEDIA_JSON,
    MEDIA_CSV,
    MEDIA_NDJSON,
    MEDIA_TEXT,
    MEDIA_HTML,
    MEDIA_XML,
    MEDIA_CSS,
    MEDIA_METRICS,
    MEDIA_COUNT
};

#define MEDIA_PROBLEM "application/problem+json"

/* The value of Content-Type. */
const char *media_type(enum media media);
/* "json", as in ?format=json. */
const char *media_word(enum media media);

/* Of the set `offered` (1u << enum media) the one that the Accept header (NULL: anything) prefers; of equals,
 * the first in the order of the enum. False: it accepts none (RFC 9110 section 12.5.1). */
MUST_CHECK bool media_negotiate(unsigned offered, const char *accept, enum media *chosen);
/* Whether a page is preferred to a problem document, where a request has failed. */
bool media_prefers_page(const char *accept);
/* The one of the set with this word. */
MUST_CHECK bool media_parse(unsigned offered, const char *word, enum media *chosen);

/* Whether a Content-Type (NULL: none was sent) is that of the media, with or without parameters. */
bool media_is(enum media media, const char *content_type);
/* Whether it is XML by its other name. */
bool media_is_text_xml(const char *content_type);

#endif
