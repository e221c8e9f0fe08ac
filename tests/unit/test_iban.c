/* SPDX-License-Identifier: ISC */
/* IBANs against iban_cases.txt, and each right IBAN with one digit changed. */
#include "payment/iban.h"

#include "suite.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LINE_SIZE = 200, COUNTRIES_SEEN = 74 };

static const char *const words[] = {
    [IBAN_OK] = "ok",
    [IBAN_BAD_FORM] = "form",
    [IBAN_BAD_STRUCTURE] = "structure",
    [IBAN_BAD_CHECK_DIGITS] = "digits",
};

/* mod 97 finds every change of a single digit. */
static void check_changed(const char *iban)
{
    char changed[40];
    for (size_t i = 0; i < strlen(iban); i++) {
        snprintf(changed, sizeof changed, "%s", iban);
        if (changed[i] < '0' || changed[i] > '9')
            continue;
        changed[i] = changed[i] == '9' ? '0' : (char)(changed[i] + 1);
        ck_assert_msg(iban_check(changed) == IBAN_BAD_CHECK_DIGITS, "%s", changed);
    }
}

START_TEST(cases)
{
    char line[LINE_SIZE];
    size_t published = 0;
    FILE *file = fopen(IBAN_CASES, "r");
    ck_assert_ptr_nonnull(file);
    while (fgets(line, sizeof line, file) != NULL) {
        char *word = strtok(line, " \n"), *iban = strtok(NULL, " \n"), *length = strtok(NULL, " \n");
        if (word == NULL || *word == '#')
            continue;
        const char *text = iban != NULL ? iban : "";
        ck_assert_msg(strcmp(words[iban_check(text)], word) == 0, "%s: %s", text, words[iban_check(text)]);
        if (strcmp(word, "ok") == 0)
            check_changed(text);
        if (length == NULL)
            continue;
        published++;
        ck_assert_uint_eq(strlen(text), strtoul(length, NULL, 10));
    }
    fclose(file);
    ck_assert_uint_eq(published, COUNTRIES_SEEN);
}
END_TEST

START_TEST(spaces_are_not_of_the_electronic_form)
{
    ck_assert_int_eq(iban_check("GB29 NWBK 6016 1331 9268 19"), IBAN_BAD_FORM);
    ck_assert_int_eq(iban_check("GB29NWBK60161331926819 "), IBAN_BAD_FORM);
}
END_TEST

START_TEST(countries_stand_once_and_in_order)
{
    size_t count;
    const struct iban_country *countries = iban_countries(&count);
    ck_assert_uint_eq(count, COUNTRIES_SEEN);
    for (size_t i = 1; i < count; i++)
        ck_assert_str_lt(countries[i - 1].code, countries[i].code);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("iban");
    TCase *tcase = tcase_create("iban");
    tcase_add_test(tcase, cases);
    tcase_add_test(tcase, spaces_are_not_of_the_electronic_form);
    tcase_add_test(tcase, countries_stand_once_and_in_order);
    suite_add_tcase(suite, tcase);
    return suite;
}
