/* SPDX-License-Identifier: ISC */
/* Checks each character by the table of RFC 3629 section 4. */
#include "base/utf8.h"

/* The number of bytes of the character at the start of `text`; 0: there is no valid character. */
static size_t character_length(const unsigned char *text)
{
    unsigned first = text[0];
    size_t length = first < 0x80   ? 1
                    : first < 0xc2 ? 0
                    : first < 0xe0 ? 2
                    : first < 0xf0 ? 3
                    : first < 0xf5 ? 4
                                   : 0;
    for (size_t i = 1; i < length; i++)
        if ((text[i] & 0xc0) != 0x80)
            return 0;
    bool overlong = (first == 0xe0 && text[1] < 0xa0) || (first == 0xf0 && text[1] < 0x90);
    bool surrogate = first == 0xed && text[1] >= 0xa0;
    bool beyond = first == 0xf4 && text[1] >= 0x90;
    return overlong || surrogate || beyond ? 0 : length;
}

/* The NUL at the end continues no character, so no character reaches beyond it. */
bool utf8_valid(const char *text)
{
    const unsigned char *at = (const unsigned char *)text;
    while (*at != '\0') {
        size_t length = character_length(at);
        if (length == 0)
            return false;
        at += length;
    }
    return true;
}

/* Every byte that does not continue a character begins one. */
size_t utf8_length(const char *text)
{
    size_t count = 0;
    for (; *text != '\0'; text++)
        count += ((unsigned char)*text & 0xc0) != 0x80;
    return count;
}

bool utf8_has_control(const char *text)
{
    for (; *text != '\0'; text++)
        if ((unsigned char)*text < ' ' || *text == 0x7f)
            return true;
    return false;
}
