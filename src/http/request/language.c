/* SPDX-License-Identifier: ISC */
/* Chooses the language. */
#include "http/request/language.h"

#include "http/request/quality.h"

#include <string.h>
#include <strings.h>

/* How closely a range covers a language: 3 as the language itself, 2 with a region, 1 as any, 0 not at all.
 */
static int closeness(const char *range, size_t length, const char *code)
{
    size_t size = strlen(code);
    if (length >= size && strncasecmp(range, code, size) == 0 && (length == size || range[size] == '-'))
        return length == size ? 3 : 2;
    return length == 1 && *range == '*' ? 1 : 0;
}

/* How welcome a language is, and the place in the header that says so. */
struct welcome {
    int quality;
    const char *place;
};

static struct welcome welcome(const char *accept, const char *code)
{
    struct welcome found = {.quality = 0};
    for (int best = 0; *accept != '\0'; accept += strcspn(accept, ",")) {
        accept += strspn(accept, ", \t");
        size_t length = quality_name_length(accept);
        int close = closeness(accept, length, code), quality = quality_of(accept + length);
        if (close > best || (close == 2 && best == 2 && quality > found.quality)) {
            best = close;
            found = (struct welcome){quality, accept};
        }
    }
    return found;
}

const struct words *language_negotiate(const char *accept)
{
    const char *chosen = words_codes[0];
    struct welcome best = {.quality = 0};
    for (size_t i = 0; accept != NULL && words_codes[i] != NULL; i++) {
        struct welcome found = welcome(accept, words_codes[i]);
        if (found.quality > best.quality ||
            (found.quality > 0 && found.quality == best.quality && found.place < best.place)) {
            best = found;
            chosen = words_codes[i];
        }
    }
    return words_of(chosen, strlen(chosen));
}
