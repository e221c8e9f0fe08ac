/* SPDX-License-Identifier: ISC */
/* The tag is a hash of the body. Answers with the same tag have the same bytes, so it is a strong tag. */
#include "http/request/conditional.h"

#include "depositd/seal.h"
#include "http/request/route.h"

#include <string.h>

/* Skips the blanks and commas before the next element of a list (RFC 9110 section 5.6.1). */
static const char *next_element(const char *text)
{
    return text + strspn(text, ", \t");
}

bool etag_is_listed(const char *if_none_match, const char *etag)
{
    const char *at = next_element(if_none_match);
    size_t length = strlen(etag);
    if (*at == '*')
        return *next_element(at + 1) == '\0';
    while (*at != '\0') {
        if (strncmp(at, "W/", 2) == 0)
            at += 2;
        const char *end = *at == '"' ? strchr(at + 1, '"') : NULL;
        if (end == NULL)
            return false;
        if ((size_t)(end + 1 - at) == length && memcmp(at, etag, length) == 0)
            return true;
        at = next_element(end + 1);
    }
    return false;
}

/* NULL: out of memory; the answer then goes without a tag. */
static const char *tag_of(struct answer *answer)
{
    struct sha256 hash;
    char tag[SHA256_HEX_MAX + 2] = "\"";
    sha256_of(answer->body.data, answer->body.length, &hash);
    sha256_hex(&hash, tag + 1);
    strcat(tag, "\"");
    return arena_copy(answer->arena, tag, strlen(tag));
}

void answer_conditionally(const struct request *request, struct answer *answer)
{
    const struct route *route = request->route;
    if (route->method != METHOD_GET || route->roles == 0 || answer->status != 200 || answer->is_page ||
        answer->faults.count > 0 || answer->body.failed || answer->body.length == 0)
        return;
    if (answer->etag == NULL)
        answer->etag = tag_of(answer);
    if (answer->etag == NULL || request->if_none_match == NULL ||
        !etag_is_listed(request->if_none_match, answer->etag))
        return;
    answer->status = 304;
    answer->link_next = answer->link_previous = NULL;
    buffer_reset(&answer->body);
}
