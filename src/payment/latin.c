/* SPDX-License-Identifier: ISC */
/* Names in the Latin set. Letters of Latin-1 and Latin Extended-A lose their marks, ligatures are taken
 * apart, and typographic marks become plain marks. The set and the rule for slashes are the European Payments
 * Council's (its clarification paper on slashes in references), and so is the limit of 70 characters for a
 * name (from memory). */
#include "payment/latin.h"

#include <stdint.h>
#include <string.h>

#define ALPHABET "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789/-?:().,'+ "

/* U+00C0 to U+017F, in the order of their code points; "." for code points that are not letters. */
enum { LETTERS_FIRST = 0xC0, LETTERS_LAST = 0x17F };
static const char letters[LETTERS_LAST - LETTERS_FIRST + 1][3] = {
    "A", "A", "A",  "A",  "A", "A", "AE", "C", "E", "E",  "E", "E", "I", "I", "I",  "I",  /* U+00C0 */
    "D", "N", "O",  "O",  "O", "O", "O",  ".", "O", "U",  "U", "U", "U", "Y", "TH", "ss", /* U+00D0 */
    "a", "a", "a",  "a",  "a", "a", "ae", "c", "e", "e",  "e", "e", "i", "i", "i",  "i",  /* U+00E0 */
    "d", "n", "o",  "o",  "o", "o", "o",  ".", "o", "u",  "u", "u", "u", "y", "th", "y",  /* U+00F0 */
    "A", "a", "A",  "a",  "A", "a", "C",  "c", "C", "c",  "C", "c", "C", "c", "D",  "d",  /* U+0100 */
    "D", "d", "E",  "e",  "E", "e", "E",  "e", "E", "e",  "E", "e", "G", "g", "G",  "g",  /* U+0110 */
    "G", "g", "G",  "g",  "H", "h", "H",  "h", "I", "i",  "I", "i", "I", "i", "I",  "i",  /* U+0120 */
    "I", "i", "IJ", "ij", "J", "j", "K",  "k", "q", "L",  "l", "L", "l", "L", "l",  "L",  /* U+0130 */
    "l", "L", "l",  "N",  "n", "N", "n",  "N", "n", "'n", "N", "n", "O", "o", "O",  "o",  /* U+0140 */
    "O", "o", "OE", "oe", "R", "r", "R",  "r", "R", "r",  "S", "s", "S", "s", "S",  "s",  /* U+0150 */
    "S", "s", "T",  "t",  "T", "t", "T",  "t", "U", "u",  "U", "u", "U", "u", "U",  "u",  /* U+0160 */
    "U", "u", "U",  "u",  "W", "w", "Y",  "y", "Y", "Z",  "z", "Z", "z", "Z", "z",  "s",  /* U+0170 */
};

/* Other characters that occur in names. */
static const struct {
    uint32_t code_point;
    const char *text;
} others[] = {
    {'&', "+"},    {'_', "-"},    {'"', "'"},      {'`', "'"},      {0xA0, " "},    {0xB4, "'"},
    {0x218, "S"},  {0x219, "s"},  {0x21A, "T"},    {0x21B, "t"},    {0x1E9E, "SS"}, {0x2010, "-"},
    {0x2011, "-"}, {0x2012, "-"}, {0x2013, "-"},   {0x2014, "-"},   {0x2018, "'"},  {0x2019, "'"},
    {0x201C, "'"}, {0x201D, "'"}, {0x2026, "..."}, {0x20AC, "EUR"},
};

/* The next code point of the text, which must not be at its end. A byte that does not begin a code point
 * stands for itself. */
static uint32_t next_code_point(const char **text)
{
    const unsigned char *at = (const unsigned char *)*text;
    unsigned extra = at[0] >= 0xF0 ? 3 : at[0] >= 0xE0 ? 2 : at[0] >= 0xC0 ? 1 : 0;
    uint32_t code_point = extra > 0 ? at[0] & (0x3Fu >> extra) : at[0];
    for (unsigned i = 1; i <= extra; i++) {
        if ((at[i] & 0xC0) != 0x80) {
            *text += 1;
            return at[0] | 0x80000000u; /* not a code point */
        }
        code_point = code_point << 6 | (at[i] & 0x3Fu);
    }
    *text += 1 + extra;
    return code_point;
}

/* Whether the character is a combining mark, which follows its letter (U+0300 to U+036F). */
static bool is_combining(uint32_t code_point)
{
    return code_point >= 0x300 && code_point <= 0x36F;
}

/* `plain` has room for a character of the set. */
static const char *counterpart(uint32_t code_point, char plain[static 2])
{
    if (code_point < 0x80 && strchr(ALPHABET, (int)code_point) != NULL) {
        plain[0] = (char)code_point;
        plain[1] = '\0';
        return plain;
    }
    if (code_point >= LETTERS_FIRST && code_point <= LETTERS_LAST)
        return letters[code_point - LETTERS_FIRST];
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++)
        if (others[i].code_point == code_point)
            return others[i].text;
    return is_combining(code_point) ? "" : ".";
}

void latin_name(const char *name, char text[static LATIN_NAME_SIZE])
{
    size_t length = 0;
    while (*name != '\0') {
        char plain[2];
        const char *next = counterpart(next_code_point(&name), plain);
        size_t added = strlen(next);
        if (length + added > LATIN_NAME_MAX)
            break;
        if (length == 0 && strcmp(next, " ") == 0)
            continue;
        memcpy(text + length, next, added);
        length += added;
    }
    while (length > 0 && text[length - 1] == ' ')
        length--;
    if (length == 0)
        text[length++] = '.';
    text[length] = '\0';
}

bool latin_reference_valid(const char *text, size_t max)
{
    size_t length = strlen(text);
    if (length < 1 || length > max || strspn(text, ALPHABET) != length || strstr(text, "//") != NULL)
        return false;
    return strchr("/ ", text[0]) == NULL && strchr("/ ", text[length - 1]) == NULL;
}
