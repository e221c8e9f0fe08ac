/* SPDX-License-Identifier: ISC */
/* The bank's characters: the letters against ICU's own transliteration to ASCII, and the texts that may
 * identify something. */
#include "payment/latin.h"

#include "suite.h"

#include <stdio.h>
#include <string.h>
#include <unicode/ustring.h>
#include <unicode/utrans.h>

static const char set[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789/-?:().,'+ ";

static void assert_name(const char *name, const char *expected)
{
    char text[LATIN_NAME_SIZE];
    latin_name(name, text);
    ck_assert_str_eq(text, expected);
}

/* Each of U+00C0 to U+017F becomes the same as by the transform Latin-ASCII of the Common Locale Data
 * Repository, except for the signs of multiplication and division, which are no letters. */
START_TEST(letters_are_those_of_latin_ascii)
{
    static const UChar id[] = u"Latin-ASCII";
    UErrorCode status = U_ZERO_ERROR;
    UTransliterator *transform = utrans_openU(id, -1, UTRANS_FORWARD, NULL, 0, NULL, &status);
    ck_assert(U_SUCCESS(status));
    for (UChar letter = 0xC0; letter <= 0x17F; letter++) {
        UChar wide[16] = {'x', letter, 0};
        char name[16], expected[16];
        int32_t length = 2, limit = 2;
        u_strToUTF8(name, sizeof name, NULL, wide, 2, &status);
        utrans_transUChars(transform, wide, &length, 16, 0, &limit, &status);
        u_strToUTF8(expected, sizeof expected, NULL, wide, length, &status);
        ck_assert(U_SUCCESS(status));
        assert_name(name, letter == 0xD7 || letter == 0xF7 ? "x." : expected);
    }
    utrans_close(transform);
}
END_TEST

START_TEST(names)
{
    assert_name(set, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789/-?:().,");
    assert_name("Caf\u00e9 \u201cS\u00f8ren\u201d & S\u00f6hne", "Cafe 'Soren' + Sohne");
    assert_name("Cafe\u0301", "Cafe"); /* a mark that stands by itself */
    assert_name("\u0218tefan\u2019s", "Stefan's");
    assert_name("Kaf\u00e9 \u6771\u4eac \U0001F642", "Kafe .. .");
    assert_name("<script>&amp;", ".script.+amp.");
    assert_name("a\tb\nc\x7f", "a.b.c.");
    assert_name("  two  ends  ", "two  ends");
    assert_name("   ", ".");
    assert_name("\u0301", ".");
    assert_name("cut\xe2\x82", "cut.."); /* not UTF-8 */
    assert_name("\xff\xfe", "..");
}
END_TEST

START_TEST(a_name_is_cut_at_70_characters)
{
    char name[200], text[LATIN_NAME_SIZE];
    memset(name, 'x', sizeof name - 1);
    name[sizeof name - 1] = '\0';
    latin_name(name, text);
    ck_assert_uint_eq(strlen(text), 70);
    memcpy(name + 69, "\u00e6", 2); /* two letters, but there is room for one */
    latin_name(name, text);
    ck_assert_uint_eq(strlen(text), 69);
    name[69] = ' ';
    name[68] = ' ';
    latin_name(name, text);
    ck_assert_uint_eq(strlen(text), 68);
}
END_TEST

/* For any input, the output has only characters of the set, and is not empty. */
START_TEST(any_bytes_become_a_name)
{
    unsigned seed = 20022;
    for (int round = 0; round < 20000; round++) {
        char name[100] = {0}, text[LATIN_NAME_SIZE];
        for (size_t i = 0; i < sizeof name - 1; i++) {
            seed = seed * 1103515245u + 12345u;
            name[i] = (char)(seed >> 16);
        }
        latin_name(name, text);
        size_t length = strlen(text);
        ck_assert(length >= 1 && length <= 70 && strspn(text, set) == length);
    }
}
END_TEST

/* europeanpaymentscouncil.eu, Clarification Paper on the Use of Slashes in References, Identifications and
 * Identifiers: no slash at either end, no two in a row. */
START_TEST(references)
{
    ck_assert(latin_reference_valid("000123456", 34));
    ck_assert(latin_reference_valid("MANDATE 7/2026", 35));
    ck_assert(latin_reference_valid("x", 1));
    ck_assert(!latin_reference_valid("", 35));
    ck_assert(!latin_reference_valid("xy", 1));
    ck_assert(!latin_reference_valid("/7", 35));
    ck_assert(!latin_reference_valid("7/", 35));
    ck_assert(!latin_reference_valid("/", 35));
    ck_assert(!latin_reference_valid("7//8", 35));
    ck_assert(!latin_reference_valid(" 7", 35));
    ck_assert(!latin_reference_valid("7 ", 35));
    ck_assert(!latin_reference_valid("caf\u00e9", 35));
    ck_assert(!latin_reference_valid("a&b", 35));
    ck_assert(!latin_reference_valid("a_b", 35));
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("latin");
    TCase *tcase = tcase_create("latin");
    tcase_add_test(tcase, letters_are_those_of_latin_ascii);
    tcase_add_test(tcase, names);
    tcase_add_test(tcase, a_name_is_cut_at_70_characters);
    tcase_add_test(tcase, any_bytes_become_a_name);
    tcase_add_test(tcase, references);
    suite_add_tcase(suite, tcase);
    return suite;
}
