/* SPDX-License-Identifier: ISC */
/* Media types: the types that clients ask for and that the service sends, and their names. */
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
    MEDIA_FORM,
    MEDIA_COUNT
};

#define MEDIA_PROBLEM "application/problem+json"

/* The value of Content-Type. */
const char *media_type(enum media media);
/* The word for ?format=, such as "json". */
const char *media_word(enum media media);

/* Chooses from the set `offered` (1u << enum media) the medium that the Accept header (NULL: anything)
 * prefers. Among equals, the first in the order of the enum wins. False: the header accepts none of them (RFC
 * 9110 section 12.5.1). */
MUST_CHECK bool media_negotiate(unsigned offered, const char *accept, enum media *chosen);
/* Whether the client prefers a page to a problem document for a failed request. */
bool media_prefers_page(const char *accept);
/* Finds the medium of the set with this word. */
MUST_CHECK bool media_parse(unsigned offered, const char *word, enum media *chosen);

/* Whether a Content-Type (NULL: none was sent) is that of the medium, with or without parameters. */
bool media_is(enum media media, const char *content_type);
/* Whether it is text/xml, the other type for XML. */
bool media_is_text_xml(const char *content_type);

#endif
