/* SPDX-License-Identifier: ISC */
/* Each spelling is reduced to the value of AI 8003; the value is then checked in one place. An EPC URI has no
 * check digit, so it is computed. Where its company prefix ends does not matter: the digits are the same. */
#include "depositd/cup_id.h"

#include "depositd/identifier.h"

#include <string.h>
#include <strings.h>

#define DIGITS  "0123456789"
#define LETTERS "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
#define FNC1    '\x1d' /* how scanners send it */

enum { PREFIX_MIN = 6, PREFIX_MAX = 12, COMPANY_AND_TYPE = 12 };

/* A piece of the text. */
struct span {
    const char *at;
    size_t length;
};

/* Drops the word from the beginning. False: it does not stand there. */
static bool skip(struct span *span, const char *word)
{
    size_t length = strlen(word);
    if (span->length < length || memcmp(span->at, word, length) != 0)
        return false;
    *span = (struct span){span->at + length, span->length - length};
    return true;
}

/* The same, whatever the case of its letters: names of schemes and of URN namespaces (RFC 3986 section 3.1,
 * RFC 8141 section 3.1). */
static bool skip_any_case(struct span *span, const char *word)
{
    size_t length = strlen(word);
    if (span->length < length || strncasecmp(span->at, word, length) != 0)
        return false;
    *span = (struct span){span->at + length, span->length - length};
    return true;
}

/* How many characters at the beginning belong to the set. */
static size_t span_of(struct span span, const char *set)
{
    size_t count = 0;
    while (count < span.length && span.at[count] != '\0' && strchr(set, span.at[count]) != NULL)
        count++;
    return count;
}

static int hexadecimal(char digit)
{
    const char *digits = "0123456789abcdef";
    const char *found =
        digit != '\0' ? strchr(digits, digit >= 'A' && digit <= 'F' ? digit + 32 : digit) : NULL;
    return found != NULL ? (int)(found - digits) : -1;
}

/* Adds a text to the identity; of an `escaped` one, %XX stands for a byte (RFC 3986 section 2.1). False: it
 * has no room, an escape is malformed, or the byte is NUL. */
static bool append(struct cup_id *id, size_t *length, struct span text, bool escaped)
{
    for (size_t i = 0; i < text.length; i++) {
        int character = (unsigned char)text.at[i];
        if (escaped && character == '%') {
            int high = i + 2 < text.length ? hexadecimal(text.at[i + 1]) : -1;
            int low = high >= 0 ? hexadecimal(text.at[i + 2]) : -1;
            if (low < 0)
                return false;
            character = high * 16 + low;
            i += 2;
        }
        if (character == '\0' || *length == CUP_ID_MAX)
            return false;
        id->text[(*length)++] = (char)character;
    }
    id->text[*length] = '\0';
    return true;
}

/* A value as in AI 8003. */
static bool read_value(struct span value, bool escaped, struct cup_id *id)
{
    size_t length = 0;
    return append(id, &length, value, escaped) && length > CUP_ID_TYPE_DIGITS && grai_valid(id->text);
}

/* Marks of the symbologies that carry element strings: GS1-128, DataBar, DataMatrix, QR code, DotCode (GS1
 * General Specifications, symbology identifiers). */
static void skip_symbology(struct span *text)
{
    static const char *const marks[] = {"]C1", "]e0", "]d2", "]Q3", "]J1"};
    for (size_t i = 0; i < sizeof marks / sizeof marks[0]; i++)
        if (skip(text, marks[i]))
            break;
    if (text->length > 0 && *text->at == FNC1)
        *text = (struct span){text->at + 1, text->length - 1};
}

static bool read_element_string(struct span text, struct cup_id *id)
{
    skip_symbology(&text);
    if (!skip(&text, "8003"))
        return false;
    if (text.length > 0 && text.at[text.length - 1] == FNC1)
        text.length--;
    return read_value(text, false, id);
}

/* The prefix, the type and the serial number have a dot between them, and the first two have 12 digits
 * together. Of the characters of a serial number, seven must be escaped. */
static bool read_epc(struct span text, struct cup_id *id)
{
    static const char serial_characters[] = DIGITS LETTERS "!'()*+,-.:;=_%";
    struct span prefix = {text.at, span_of(text, DIGITS)};
    if (prefix.length < PREFIX_MIN || prefix.length > PREFIX_MAX)
        return false;
    text = (struct span){text.at + prefix.length, text.length - prefix.length};
    if (!skip(&text, "."))
        return false;
    struct span type = {text.at, span_of(text, DIGITS)};
    text = (struct span){text.at + type.length, text.length - type.length};
    if (prefix.length + type.length != COMPANY_AND_TYPE || !skip(&text, ".") ||
        span_of(text, serial_characters) != text.length)
        return false;
    size_t length = 0;
    if (!append(id, &length, (struct span){"0", 1}, false) || !append(id, &length, prefix, false) ||
        !append(id, &length, type, false))
        return false;
    char check = gs1_check_digit(id->text);
    return append(id, &length, (struct span){&check, 1}, false) && append(id, &length, text, true) &&
           length > CUP_ID_TYPE_DIGITS && grai_valid(id->text);
}

/* The key and its value are the last two segments of the path. Anything may stand in the query and in the
 * fragment: it says more about the cup, or about the answer wanted. */
static bool read_digital_link(struct span text, struct cup_id *id)
{
    static const char host_characters[] = DIGITS LETTERS "-._~:[]";
    static const char path_characters[] = DIGITS LETTERS "-._~!$&'()*+,;=:@%/";
    size_t host = span_of(text, host_characters);
    if (host == 0 || host == text.length || text.at[host] != '/')
        return false;
    text = (struct span){text.at + host, text.length - host};
    text.length = span_of(text, path_characters);
    size_t value = text.length;
    while (value > 0 && text.at[value - 1] != '/')
        value--;
    static const char key[] = "/8003/";
    size_t key_length = sizeof key - 1;
    return value >= key_length && memcmp(text.at + value - key_length, key, key_length) == 0 &&
           read_value((struct span){text.at + value, text.length - value}, true, id);
}

bool cup_id_parse(const char *text, size_t length, struct cup_id *id)
{
    struct span span = {text, length};
    if (length > CUP_ID_SPELLING_MAX || memchr(text, '\0', length) != NULL)
        return false;
    if (length > 0 && text[0] == '0')
        return read_value(span, false, id);
    if (skip(&span, "(8003)"))
        return read_value(span, false, id);
    if (skip_any_case(&span, "urn:epc:"))
        return skip(&span, "id:grai:") && read_epc(span, id);
    if (skip_any_case(&span, "https://") || skip_any_case(&span, "http://"))
        return read_digital_link(span, id);
    return read_element_string(span, id);
}

bool cup_id_is_of(const struct cup_id *id, const char *grai)
{
    return strncmp(id->text, grai, CUP_ID_TYPE_DIGITS) == 0;
}
