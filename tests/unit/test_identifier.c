/* SPDX-License-Identifier: ISC */
/* Check digits against published identifiers, and against each of them with one digit changed. */
#include "depositd/identifier.h"

#include "suite.h"

#include <stdio.h>
#include <string.h>

/* https://id.gs1.org/414/… and the SGLN URIs of gs1/EPCIS; the worked check digit of GS1's own page (from
 * memory). */
static const char *const glns[] = {"9506000134307", "4012345002256", "0614141007776", "6291041500213"};

/* GS1 data dictionary page of `grai` (BDT00000065, 2021-11-16); EPC URI urn:epc:id:grai:4012345.55555.987 of
 * gs1/EPCIS. */
static const char *const grais[] = {"07300015200154", "07300015200154000000000356", "04012345555554987"};

typedef bool (*validity)(const char *text);

/* Either scheme finds every change of a single digit. */
static void check_valid_and_changed(validity valid, const char *text, size_t checked)
{
    ck_assert_msg(valid(text), "%s", text);
    for (size_t i = 0; i < checked; i++) {
        char changed[40];
        snprintf(changed, sizeof changed, "%s", text);
        if (changed[i] < '0' || changed[i] > '9')
            continue;
        changed[i] = changed[i] == '9' ? '0' : (char)(changed[i] + 1);
        ck_assert_msg(!valid(changed), "%s", changed);
    }
}

START_TEST(published_glns)
{
    check_valid_and_changed(gln_valid, glns[_i], strlen(glns[_i]));
}
END_TEST

START_TEST(published_grais)
{
    check_valid_and_changed(grai_valid, grais[_i], 14);
}
END_TEST

START_TEST(what_is_no_gs1_key)
{
    ck_assert(!gln_valid(""));
    ck_assert(!gln_valid("950600013430"));
    ck_assert(!gln_valid("95060001343070"));
    ck_assert(!gln_valid("950600013430X"));
    /* A GTIN-14 of gs1/EPCIS: its digits check, but a GRAI begins with 0. */
    ck_assert(!grai_valid("70614141123451"));
    ck_assert(!grai_valid("0730001520015"));
    ck_assert(grai_valid("073000152001541234567890123456"));
    ck_assert(!grai_valid("0730001520015412345678901234567"));
    ck_assert(!grai_valid("07300015200154 356"));
    ck_assert(!grai_valid("07300015200154\xc3\xa9"));
}
END_TEST

/* Valid ones and those of wrong length or country letters: python-stdnum, stdnum/bic.py and
 * tests/test_bic.doctest.
 */
START_TEST(bics)
{
    ck_assert(bic_valid("AGRIFRPP882"));
    ck_assert(bic_valid("ABNABE2A"));
    ck_assert(bic_valid("AGRIFRPP"));
    ck_assert(!bic_valid("AGRIFRPP8"));
    ck_assert(!bic_valid("AGRIF2PP"));
    ck_assert(!bic_valid("agrifrpp"));
    ck_assert(!bic_valid(""));
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("identifier");
    TCase *cases = tcase_create("check digits");
    tcase_add_loop_test(cases, published_glns, 0, (int)(sizeof glns / sizeof glns[0]));
    tcase_add_loop_test(cases, published_grais, 0, (int)(sizeof grais / sizeof grais[0]));
    tcase_add_test(cases, what_is_no_gs1_key);
    tcase_add_test(cases, bics);
    suite_add_tcase(suite, cases);
    return suite;
}
