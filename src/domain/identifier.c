/* SPDX-License-Identifier: ISC */
/* Check digits. */
#include "depositd/identifier.h"

#include <string.h>

#define DIGITS         "0123456789"
#define CAPITALS       "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
#define DIGITS_CAPITAL DIGITS CAPITALS

enum { GLN_DIGITS = 13, GRAI_DIGITS = 14, GRAI_SERIAL_MAX = 16 };

/* Weights 1 and 3 by turns from the right, the check digit itself included: a multiple of 10. */
static bool gs1_digits_valid(const char *text, size_t count)
{
    unsigned sum = 0;
    if (strspn(text, DIGITS) < count)
        return false;
    for (size_t i = 0; i < count; i++)
        sum += (unsigned)(text[i] - '0') * ((count - i) % 2 == 0 ? 3 : 1);
    return sum % 10 == 0;
}

char gs1_check_digit(const char *digits)
{
    unsigned sum = 0;
    size_t count = strlen(digits);
    for (size_t i = 0; i < count; i++)
        sum += (unsigned)(digits[i] - '0') * ((count - i) % 2 == 0 ? 1 : 3);
    return (char)('0' + (10 - sum % 10) % 10);
}

bool gln_valid(const char *text)
{
    return strlen(text) == GLN_DIGITS && gs1_digits_valid(text, GLN_DIGITS);
}

bool grai_valid(const char *text)
{
    /* [!%-?A-Z_a-z"], as GS1 Tag Data Translation 2.0 has it for GRAI+. */
    static const char serial_characters[] =
        "!\"%&'()*+,-./" DIGITS ":;<=>?" CAPITALS "_abcdefghijklmnopqrstuvwxyz";
    if (text[0] != '0' || !gs1_digits_valid(text, GRAI_DIGITS))
        return false;
    const char *serial = text + GRAI_DIGITS;
    size_t length = strlen(serial);
    return length <= GRAI_SERIAL_MAX && strspn(serial, serial_characters) == length;
}

bool bic_valid(const char *text)
{
    /* [A-Z0-9]{4}[A-Z]{2}[A-Z0-9]{2}([A-Z0-9]{3})? */
    size_t length = strlen(text);
    return (length == 8 || length == 11) && strspn(text, DIGITS_CAPITAL) == length &&
           strspn(text + 4, CAPITALS) >= 2;
}
