/* SPDX-License-Identifier: ISC */
/* Making and reading URIs. The templates are the program's own, so there is always a plain name between the
 * braces. */
#include "base/uri.h"

#include "base/utf8.h"

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

static int hexadecimal(char digit)
{
    if (digit >= '0' && digit <= '9')
        return digit - '0';
    if (digit >= 'a' && digit <= 'f')
        return digit - 'a' + 10;
    if (digit >= 'A' && digit <= 'F')
        return digit - 'A' + 10;
    return -1;
}

/* Decodes %XX. Returns 0, which no text may hold, if the escape is malformed. */
static char decode_escape(const char *escape)
{
    int high = hexadecimal(escape[1]);
    int low = high >= 0 ? hexadecimal(escape[2]) : -1;
    return low >= 0 ? (char)(high * 16 + low) : '\0';
}

/* `decoded` has room for the encoded text. False: an escape is malformed. */
static bool decode(const char *text, char *decoded)
{
    for (; *text != '\0'; text++) {
        char character = *text;
        if (character == '%') {
            character = decode_escape(text);
            if (character == '\0')
                return false;
            text += 2;
        }
        *decoded++ = character;
    }
    return true; /* the arena's memory is zeroed, so the text ends there */
}

bool uri_decode(struct arena *arena, const char **text)
{
    char *decoded = arena_alloc(arena, strlen(*text) + 1);
    if (decoded == NULL)
        return false;
    *text = decode(*text, decoded) && utf8_valid(decoded) ? decoded : NULL;
    return true;
}

static void cut_back(struct buffer *uri, size_t length)
{
    uri->length = length;
    if (uri->data != NULL)
        uri->data[length] = '\0';
}

bool uri_part_is(const char *text, const char *part, size_t length)
{
    return strlen(text) == length && strncmp(text, part, length) == 0;
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
        bool continues = *pattern == '&';
        const char *text = value(context, pattern + continues, length - continues);
        if (text == NULL && !continues) {
            cut_back(uri, before);
            return false;
        }
        if (continues && text != NULL) {
            buffer_add(uri, pattern, length);
            buffer_add_char(uri, '=');
        }
        if (text != NULL)
            uri_encode(uri, text);
        pattern += length + 1;
    }
    return true;
}
