/* SPDX-License-Identifier: ISC */
/* Identities of cups: every spelling of one becomes the same text, and anything else is refused. */
#include "depositd/cup_id.h"

#include "suite.h"

#include <stdio.h>
#include <string.h>

struct spelling {
    const char *text, *id; /* NULL: it is no identity */
};

/* Published examples. GS1 data dictionary, page of `grai` (BDT00000065, 2021-11-16); gs1/EPCIS; EPC Tag Data
 * Standard 2.3, examples of GRAI+ (seen as quoted in public tests of that standard, with its Digital Link);
 * EPC Tag Data Standard 1.9 section 7.4 (from memory); spellings of one asset in public test suites for that
 * standard and for EPCIS 2.0. */
static const struct spelling published[] = {
    {"07300015200154000000000356", "07300015200154000000000356"},
    {"urn:epc:id:grai:4012345.55555.987", "04012345555554987"},
    {"(8003)04012345555554987", "04012345555554987"},
    {"(8003)0952114112345432a/b", "0952114112345432a/b"},
    {"https://id.gs1.org/8003/0952114112345432a%2Fb", "0952114112345432a/b"},
    {"urn:epc:id:grai:0614141.12345.400", "00614141123452400"},
    {"(8003)00614141123452400", "00614141123452400"},
    {"urn:epc:id:grai:0614141.12345.ABCD1234%2F", "00614141123452ABCD1234/"},
    {"urn:epc:id:grai:4012345.00022.334455", "04012345000221334455"},
    {"https://id.gs1.org/8003/04012345000221334455", "04012345000221334455"},
    {"(8003)0506091751000434B1UL09036", "0506091751000434B1UL09036"},
    {"urn:epc:id:grai:061414113245..0", "006141411324540"},
};

/* One asset, 00614141123452 with serial 400, in all the forms that the standards allow. */
static const char *const of_one[] = {
    "00614141123452400",
    "(8003)00614141123452400",
    "800300614141123452400",
    "\x1d"
    "800300614141123452400",
    "]C1800300614141123452400",
    "]Q3\x1d"
    "800300614141123452400\x1d",
    "]d2800300614141123452400",
    "]e0800300614141123452400",
    "]J1800300614141123452400",
    /* The company prefix may have any length from 6 to 12 digits: the reader need not know which is right. */
    "urn:epc:id:grai:061414.112345.400",
    "urn:epc:id:grai:0614141.12345.400",
    "urn:epc:id:grai:06141411234.5.400",
    "urn:epc:id:grai:061414112345..400",
    "URN:EPC:id:grai:0614141.12345.400",
    "urn:epc:id:grai:0614141.12345.%34%30%30",
    "https://id.gs1.org/8003/00614141123452400",
    "http://example.org/8003/00614141123452400",
    "HTTPS://EXAMPLE.ORG:8443/8003/00614141123452400",
    "https://example.org/cups/8003/00614141123452400?linkType=all#top",
    "https://example.org/8003/0061414112345%32400",
};

static const char *const refused[] = {
    "",
    "0",
    "00614141123452", /* an asset type without a serial */
    "00614141123453400" /* check digit */,
    "10614141123459400", /* does not begin with 0 */
    "0061414112345240012345678901234567890",
    "00614141123452abcdefghijklmnopq", /* a serial of 17 */
    "00614141123452 40",               /* space is not of the 82 characters */
    "00614141123452#40",               /* neither is # */
    "00614141123452\xc3\xa9",          /* é */
    "0061414112345240%41\x1d",         /* FNC1 after a bare value */
    "8003",
    "(8003)",
    "(8004)00614141123452400",
    "(8003",
    "]Q3",
    "]X1800300614141123452400",
    "800300614141123452400\x1d"
    "0100614141123452", /* a second element string */
    "urn:epc:id:grai:",
    "urn:epc:id:grai:06141.1123456.400", /* prefix of 5 */
    "urn:epc:id:grai:0614141.1234.400",  /* 11 digits */
    "urn:epc:id:grai:0614141.123456.400",
    "urn:epc:id:grai:0614141123456..400",
    "urn:epc:id:grai:0614141.12345",
    "urn:epc:id:grai:0614141.12345.",
    "urn:epc:id:grai:0614141.12345.4/0", /* must be escaped there */
    "urn:epc:id:grai:0614141.12345.4%2",
    "urn:epc:id:grai:0614141.12345.4%2x",
    "urn:epc:id:grai:0614141.12345.4%00",
    "urn:epc:id:grai:0614141.12345.4%23", /* escaped, and still not of the 82 characters */
    "urn:epc:id:sgtin:0614141.112345.400",
    "urn:epc:idpat:grai:0614141.12345.*",
    "https://",
    "https:///8003/00614141123452400",
    "https://id.gs1.org",
    "https://id.gs1.org/",
    "https://id.gs1.org/00614141123452400",
    "https://id.gs1.org/8003/",
    "https://id.gs1.org/8003/00614141123452",
    "https://id.gs1.org/8003/4012345555554987", /* without the leading 0 */
    "https://id.gs1.org/8003/00614141123452400/",
    "https://id.gs1.org/8003/00614141123452400/21/7",
    "https://id.gs1.org/8003/00614141123452a/b",
    "https://id.gs1.org/01/00614141123452400",
    "https://id.gs1.org/18003/00614141123452400",
    "https://exa mple.org/8003/00614141123452400",
    "https://someone@example.org/8003/00614141123452400",
    "ftp://id.gs1.org/8003/00614141123452400",
};

static bool parse(const char *text, struct cup_id *id)
{
    return cup_id_parse(text, strlen(text), id);
}

START_TEST(published_spellings)
{
    struct cup_id id;
    ck_assert_msg(parse(published[_i].text, &id), "%s", published[_i].text);
    ck_assert_str_eq(id.text, published[_i].id);
}
END_TEST

START_TEST(spellings_of_one)
{
    struct cup_id id;
    ck_assert_msg(parse(of_one[_i], &id), "%s", of_one[_i]);
    ck_assert_str_eq(id.text, "00614141123452400");
}
END_TEST

START_TEST(no_identities)
{
    struct cup_id id;
    ck_assert_msg(!parse(refused[_i], &id), "%s", refused[_i]);
}
END_TEST

/* The set of 82 characters, GS1 General Specifications figure 7.11-1. Each stands for itself in an element
 * string, and may be escaped in both kinds of URI. */
START_TEST(all_characters)
{
    static const char set[] =
        "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz";
    size_t accepted = 0;
    ck_assert_uint_eq(strlen(set), 82);
    for (int character = 1; character < 256; character++) {
        struct cup_id plain, epc, link;
        char text[80];
        bool expected = strchr(set, character) != NULL;
        snprintf(text, sizeof text, "006141411234527%cx", character);
        ck_assert_msg(parse(text, &plain) == expected, "%s", text);
        snprintf(text, sizeof text, "urn:epc:id:grai:0614141.12345.7%%%02xx", (unsigned)character);
        ck_assert_msg(parse(text, &epc) == expected, "%s", text);
        snprintf(text, sizeof text, "https://example.org/8003/006141411234527%%%02Xx", (unsigned)character);
        ck_assert_msg(parse(text, &link) == expected, "%s", text);
        if (!expected)
            continue;
        accepted++;
        ck_assert_str_eq(plain.text, epc.text);
        ck_assert_str_eq(plain.text, link.text);
    }
    ck_assert_uint_eq(accepted, 82);
}
END_TEST

/* The canonical text is itself a spelling, and every single wrong digit of the asset type is noticed. */
START_TEST(canonical_again)
{
    struct cup_id id, again;
    ck_assert(parse(published[_i].text, &id));
    ck_assert(parse(id.text, &again));
    ck_assert_str_eq(again.text, id.text);
    for (size_t i = 0; i < CUP_ID_TYPE_DIGITS; i++) {
        struct cup_id changed = id;
        changed.text[i] = changed.text[i] == '9' ? '0' : (char)(changed.text[i] + 1);
        ck_assert_msg(!parse(changed.text, &again), "%s", changed.text);
    }
}
END_TEST

START_TEST(hostile_lengths)
{
    struct cup_id id;
    char text[CUP_ID_SPELLING_MAX + 2];
    memset(text, 'a', sizeof text);
    memcpy(text, "https://", 8);
    memcpy(text + CUP_ID_SPELLING_MAX - 23, "/8003/00614141123452400", 23);
    ck_assert(cup_id_parse(text, CUP_ID_SPELLING_MAX, &id));
    ck_assert(!cup_id_parse(text, CUP_ID_SPELLING_MAX + 1, &id));
    ck_assert(!cup_id_parse("00614141123452\0400", 18, &id));
    for (size_t length = 0; length < 15; length++)
        ck_assert(!cup_id_parse("00614141123452400", length, &id));
}
END_TEST

START_TEST(of_a_cup_type)
{
    struct cup_id id;
    ck_assert(parse("urn:epc:id:grai:0614141.12345.400", &id));
    ck_assert(cup_id_is_of(&id, "00614141123452"));
    ck_assert(cup_id_is_of(&id, "00614141123452399"));
    ck_assert(!cup_id_is_of(&id, "07300015200154"));
}
END_TEST

#define COUNT(array) (int)(sizeof(array) / sizeof(array)[0])

Suite *file_suite(void)
{
    Suite *suite = suite_create("cup_id");
    TCase *cases = tcase_create("spellings");
    tcase_add_loop_test(cases, published_spellings, 0, COUNT(published));
    tcase_add_loop_test(cases, canonical_again, 0, COUNT(published));
    tcase_add_loop_test(cases, spellings_of_one, 0, COUNT(of_one));
    tcase_add_loop_test(cases, no_identities, 0, COUNT(refused));
    tcase_add_test(cases, all_characters);
    tcase_add_test(cases, hostile_lengths);
    tcase_add_test(cases, of_a_cup_type);
    suite_add_tcase(suite, cases);
    return suite;
}
