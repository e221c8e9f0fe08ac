/* SPDX-License-Identifier: ISC */
/* Making URIs. The templates are the program's own, so there is always a plain name between the braces. */
#include "base/uri.h"

#include <string.h>

static bool is_unreserved(char character)
{
    return (character >= 'a' && character <= 'z') || (character >= 'A' && character <= 'Z') ||
           (character >= '0' && character <= '9') || (character != '\0' && strchr("-._~", character) != NULL);
}

void uri_encode(struct buffer *uri, const char *text)
{
    for (; *text != '\0'; text++)
        if (is_unreserved(*text))
            buffer_add_char(uri, *text);
        else
            buffer_printf(uri, "%%%02X", (unsigned)(unsigned char)*text);
}

static void cut_back(struct buffer *uri, size_t length)
{
    uri->length = length;
    if (uri->data != NULL)
        uri->data[length] = '\0';
}

bool uri_expand(struct buffer *uri, const char *pattern, uri_variable value, void *context)
{
    size_t before = uri->length;
    while (*pattern != '\0') {
        size_t literal = strcspn(pattern, "{");
        buffer_add(uri, pattern, literal);
        pattern += literal;
        if (*pattern == '\0')
            break;
        size_t length = strcspn(++pattern, "}");
        const char *text = value(context, pattern, length);
        if (text == NULL) {
            cut_back(uri, before);
            return false;
        }
        uri_encode(uri, text);
        pattern += length + 1;
    }
    return true;
}
