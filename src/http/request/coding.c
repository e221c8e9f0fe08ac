/* SPDX-License-Identifier: ISC */
/* Finds the qualities of gzip and of no coding in the list, and changes entity tags. */
#include "http/request/coding.h"

#include "http/request/quality.h"

#include <string.h>
#include <strings.h>

enum { NOT_LISTED = -1 };

static const char tag_end[] = "-gzip\"";

/* The quality of the first element of this name, in thousandths. */
static int listed(const char *list, const char *name)
{
    while (*list != '\0') {
        list += strspn(list, ", \t");
        size_t length = quality_name_length(list);
        if (length == strlen(name) && strncasecmp(list, name, length) == 0)
            return quality_of(list + length);
        list += strcspn(list, ",");
    }
    return NOT_LISTED;
}

/* The word x-gzip is another name of gzip (RFC 9110 section 8.4.1.3). The word * stands for each coding that
 * is not listed, also for none. */
struct codings codings_read(const char *accept_encoding)
{
    if (accept_encoding == NULL)
        return (struct codings){.identity = true};
    int any = listed(accept_encoding, "*");
    int gzip = listed(accept_encoding, "gzip");
    int identity = listed(accept_encoding, "identity");
    if (gzip == NOT_LISTED)
        gzip = listed(accept_encoding, "x-gzip");
    if (gzip == NOT_LISTED)
        gzip = any;
    if (identity == NOT_LISTED)
        identity = any;
    return (struct codings){.identity = identity != 0, .gzip = gzip > 0 && gzip >= identity};
}

const char *coding_tag(struct arena *arena, const char *tag)
{
    size_t length = strlen(tag) - 1; /* without the quote at its end */
    char *coded = arena_alloc(arena, length + sizeof tag_end);
    if (coded == NULL)
        return NULL;
    memcpy(coded, tag, length);
    memcpy(coded + length, tag_end, sizeof tag_end);
    return coded;
}

const char *coding_plain_tags(struct arena *arena, const char *tags)
{
    char *plain = tags != NULL ? arena_alloc(arena, strlen(tags) + 1) : NULL;
    if (plain == NULL)
        return NULL;
    char *end = plain;
    while (*tags != '\0') {
        if (strncmp(tags, tag_end, sizeof tag_end - 1) == 0)
            tags += sizeof tag_end - 2; /* keeps the quote */
        *end++ = *tags++;
    }
    *end = '\0';
    return plain;
}
