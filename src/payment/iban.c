/* SPDX-License-Identifier: ISC */
/* IBANs. The table of structures is data of the IBAN registry. A country without a row is not refused,
 * because countries may join. */
#include "payment/iban.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#define DIGITS   "0123456789"
#define CAPITALS "ABCDEFGHIJKLMNOPQRSTUVWXYZ"

enum { IBAN_MIN = 15, IBAN_MAX = 34, HEAD = 4 };

/* Structures of the IBAN registry, release 101, as arthurdejong/python-stdnum restates them (stdnum/iban.dat
 * at 006192e5); the registry itself was not read. */
static const struct iban_country countries[] = {
    {"AD", "4!n4!n12!c"},       {"AE", "3!n16!n"},
    {"AL", "8!n16!c"},          {"AT", "5!n11!n"},
    {"AZ", "4!a20!c"},          {"BA", "3!n3!n8!n2!n"},
    {"BE", "3!n7!n2!n"},        {"BG", "4!a4!n2!n8!c"},
    {"BH", "4!a14!c"},          {"BR", "8!n5!n10!n1!a1!c"},
    {"BY", "4!c4!n16!c"},       {"CH", "5!n12!c"},
    {"CR", "4!n14!n"},          {"CY", "3!n5!n16!c"},
    {"CZ", "4!n16!n"},          {"DE", "8!n10!n"},
    {"DK", "4!n9!n1!n"},        {"DO", "4!c20!n"},
    {"EE", "2!n14!n"},          {"ES", "4!n4!n1!n1!n10!n"},
    {"FI", "3!n11!n"},          {"FO", "4!n9!n1!n"},
    {"FR", "5!n5!n11!c2!n"},    {"GB", "4!a6!n8!n"},
    {"GE", "2!a16!n"},          {"GI", "4!a15!c"},
    {"GL", "4!n9!n1!n"},        {"GR", "3!n4!n16!c"},
    {"GT", "4!c20!c"},          {"HR", "7!n10!n"},
    {"HU", "3!n4!n1!n15!n1!n"}, {"IE", "4!a6!n8!n"},
    {"IL", "3!n3!n13!n"},       {"IQ", "4!a3!n12!n"},
    {"IS", "4!n2!n6!n10!n"},    {"IT", "1!a5!n5!n12!c"},
    {"JO", "4!a4!n18!c"},       {"KW", "4!a22!c"},
    {"KZ", "3!n13!c"},          {"LB", "4!n20!c"},
    {"LC", "4!a24!c"},          {"LI", "5!n12!c"},
    {"LT", "5!n11!n"},          {"LU", "3!n13!c"},
    {"LV", "4!a13!c"},          {"MC", "5!n5!n11!c2!n"},
    {"MD", "2!c18!c"},          {"ME", "3!n13!n2!n"},
    {"MK", "3!n10!c2!n"},       {"MR", "5!n5!n11!n2!n"},
    {"MT", "4!a5!n18!c"},       {"MU", "4!a2!n2!n12!n3!n3!a"},
    {"NL", "4!a10!n"},          {"NO", "4!n6!n1!n"},
    {"PK", "4!a16!c"},          {"PL", "8!n16!n"},
    {"PS", "4!a21!c"},          {"PT", "4!n4!n11!n2!n"},
    {"QA", "4!a21!c"},          {"RO", "4!a16!c"},
    {"RS", "3!n13!n2!n"},       {"SA", "2!n18!c"},
    {"SC", "4!a2!n2!n16!n3!a"}, {"SE", "3!n16!n1!n"},
    {"SI", "5!n8!n2!n"},        {"SK", "4!n6!n10!n"},
    {"SM", "1!a5!n5!n12!c"},    {"ST", "4!n4!n11!n2!n"},
    {"SV", "4!a20!n"},          {"TL", "3!n14!n2!n"},
    {"TN", "2!n3!n13!n2!n"},    {"TR", "5!n1!n16!c"},
    {"VG", "4!a16!n"},          {"XK", "4!n10!n2!n"},
};

const struct iban_country *iban_countries(size_t *count)
{
    *count = sizeof countries / sizeof countries[0];
    return countries;
}

static const struct iban_country *find_country(const char *text)
{
    for (size_t i = 0; i < sizeof countries / sizeof countries[0]; i++)
        if (strncmp(countries[i].code, text, 2) == 0)
            return &countries[i];
    return NULL;
}

static const char *characters_of(char kind)
{
    return kind == 'n' ? DIGITS : kind == 'a' ? CAPITALS : DIGITS CAPITALS;
}

/* Whether the whole account has the structure "4!a6!n8!n". */
static bool has_structure(const char *account, const char *structure)
{
    while (*structure != '\0') {
        char *kind;
        size_t length = strtoul(structure, &kind, 10);
        kind++; /* the exclamation mark means a fixed length */
        if (strnlen(account, length) < length || strspn(account, characters_of(*kind)) < length)
            return false;
        account += length;
        structure = kind + 1;
    }
    return *account == '\0';
}

/* A letter counts as two digits: A is 10, Z is 35. */
static unsigned mod_97(unsigned remainder, const char *text, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        char c = text[i];
        remainder =
            c <= '9' ? remainder * 10 + (unsigned)(c - '0') : remainder * 100 + (unsigned)(c - 'A' + 10);
        remainder %= 97;
    }
    return remainder;
}

static bool has_form(const char *text, size_t length)
{
    return length >= IBAN_MIN && length <= IBAN_MAX && strspn(text, DIGITS CAPITALS) == length &&
           strspn(text, CAPITALS) == 2 && strspn(text + 2, DIGITS) >= 2;
}

enum iban_result iban_check(const char *text)
{
    size_t length = strlen(text);
    if (!has_form(text, length))
        return IBAN_BAD_FORM;
    const struct iban_country *country = find_country(text);
    if (country != NULL && !has_structure(text + HEAD, country->structure))
        return IBAN_BAD_STRUCTURE;
    if (mod_97(mod_97(0, text + HEAD, length - HEAD), text, HEAD) != 1)
        return IBAN_BAD_CHECK_DIGITS;
    return IBAN_OK;
}

const char *iban_detail(enum iban_result result)
{
    switch (result) {
    case IBAN_OK:
        break;
    case IBAN_BAD_FORM:
        return "is no IBAN: two capitals, two digits, then 11 to 30 digits and capitals, without spaces";
    case IBAN_BAD_STRUCTURE:
        return "is no IBAN of that country: its accounts have another length or structure";
    case IBAN_BAD_CHECK_DIGITS:
        return "is no IBAN: its check digits fail";
    }
    return "is an IBAN";
}
