/* SPDX-License-Identifier: ISC */
/* Content negotiation after RFC 9110 section 12.5.1. For each representation on offer, the most specific
 * range of the Accept header that covers it gives its quality. */
#include "http/request/media.h"

#include "http/request/quality.h"

#include <string.h>
#include <strings.h>

static const struct {
    const char *word, *type;
} media_table[MEDIA_COUNT] = {
    [MEDIA_JSON] = {"json", "application/json"},
    [MEDIA_CSV] = {"csv", "text/csv; charset=utf-8"},
    [MEDIA_NDJSON] = {"ndjson", "application/x-ndjson"},
    [MEDIA_TEXT] = {"text", "text/plain; charset=utf-8"},
    [MEDIA_HTML] = {"html", "text/html; charset=utf-8"},
    [MEDIA_METRICS] = {"metrics", "text/plain; version=0.0.4; charset=utf-8"},
    [MEDIA_FORM] = {"form", "application/x-www-form-urlencoded"},
    [MEDIA_XML] = {"xml", "application/xml"},
    [MEDIA_CSS] = {"css", "text/css; charset=utf-8"},
};

const char *media_type(enum media media)
{
    return media_table[media].type;
}

const char *media_word(enum media media)
{
    return media_table[media].word;
}

static bool is_type(const char *range, size_t length, const char *type)
{
    return length == quality_name_length(type) && strncasecmp(range, type, length) == 0;
}

/* How closely a range covers a type: 3 as the type itself, 2 by its family, 1 as everything, 0 not at all. */
static int specificity(const char *range, size_t length, const char *type)
{
    size_t family = strcspn(type, "/") + 1;
    if (is_type(range, length, type))
        return 3;
    if (length == family + 1 && range[family] == '*' && strncasecmp(range, type, family) == 0)
        return 2;
    return length == 3 && strncmp(range, "*/*", 3) == 0 ? 1 : 0;
}

static int welcome(const char *accept, const char *type)
{
    int best = 0, quality = 0;
    while (*accept != '\0') {
        accept += strspn(accept, ", \t");
        size_t length = quality_name_length(accept);
        int found = specificity(accept, length, type);
        if (found > best) {
            best = found;
            quality = quality_of(accept + length);
        }
        accept += strcspn(accept, ",");
    }
    return quality;
}

bool media_negotiate(unsigned offered, const char *accept, enum media *chosen)
{
    int best = 0;
    for (unsigned media = 0; media < MEDIA_COUNT; media++) {
        int quality = (offered & 1u << media) == 0 ? 0
                      : accept == NULL             ? QUALITY_MAX
                                                   : welcome(accept, media_table[media].type);
        if (quality > best) {
            best = quality;
            *chosen = (enum media)media;
        }
    }
    return best > 0;
}

bool media_prefers_page(const char *accept)
{
    if (accept == NULL)
        return false;
    int page = welcome(accept, media_table[MEDIA_HTML].type);
    return page > welcome(accept, MEDIA_PROBLEM) && page > welcome(accept, media_table[MEDIA_JSON].type);
}

bool media_parse(unsigned offered, const char *word, enum media *chosen)
{
    for (unsigned media = 0; media < MEDIA_COUNT; media++)
        if ((offered & 1u << media) != 0 && strcmp(word, media_table[media].word) == 0) {
            *chosen = (enum media)media;
            return true;
        }
    return false;
}

bool media_is(enum media media, const char *content_type)
{
    return content_type != NULL &&
           is_type(content_type, quality_name_length(content_type), media_table[media].type);
}

bool media_is_text_xml(const char *content_type)
{
    static const char type[] = "text/xml";
    return content_type != NULL && is_type(content_type, quality_name_length(content_type), type);
}
