/* SPDX-License-Identifier: ISC */
/* The currency table against two independent holders of the same facts: the counts of ISO 4217 list one and
 * the currency data of ICU, which follows CLDR. */
#include "depositd/money.h"

#include "suite.h"

#include <string.h>
#include <unicode/ucurr.h>
#include <unicode/ustring.h>

/* The currencies for which CLDR differs from ISO 4217 list one, because it follows daily use and not the
 * standard. ICU 72.1 has 0 decimals for all of them. */
static const char *const differing[] = {"AFN", "ALL", "IQD", "IRR", "KPW", "LAK", "LBP",
                                        "MGA", "MMK", "RSD", "SOS", "SYP", "YER"};

static bool is_one_of(const char *code, const char *const *codes, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (strcmp(code, codes[i]) == 0)
            return true;
    return false;
}

static int icu_decimals(const char *code)
{
    UErrorCode status = U_ZERO_ERROR;
    UChar wide[4];
    u_charsToUChars(code, wide, 4);
    int decimals = ucurr_getDefaultFractionDigits(wide, &status);
    ck_assert(U_SUCCESS(status));
    return decimals;
}

static int decimals_of(const char *code)
{
    const struct currency *currency = currency_find(code);
    return currency ? currency->decimals : -1;
}

START_TEST(table_is_sorted_and_each_code_is_found)
{
    size_t count;
    const struct currency *all = currency_all(&count);
    for (size_t i = 0; i < count; i++) {
        ck_assert_uint_eq(strspn(all[i].code, "ABCDEFGHIJKLMNOPQRSTUVWXYZ"), 3);
        ck_assert(i == 0 || strcmp(all[i - 1].code, all[i].code) < 0);
        ck_assert_ptr_eq(currency_find(all[i].code), &all[i]);
    }
}
END_TEST

/* ISO 4217 list one of 2024-06-25 has 179 codes: 13 with N.A., 17 with 0 decimals, 140 with 2, 7 with 3 and 2
 * with
 * 4. Its 8 funds have 0 (UYI), 2 (BOV CHE CHW COU MXV USN) and 4 (CLF). */
START_TEST(counts_by_decimals_are_those_of_list_one)
{
    size_t count;
    const struct currency *all = currency_all(&count);
    int by_decimals[5] = {0};
    for (size_t i = 0; i < count; i++) {
        ck_assert_uint_le(all[i].decimals, 4);
        by_decimals[all[i].decimals]++;
    }
    ck_assert_uint_eq(count, 179 - 13 - 8);
    ck_assert_int_eq(by_decimals[0], 17 - 1);
    ck_assert_int_eq(by_decimals[1], 0);
    ck_assert_int_eq(by_decimals[2], 140 - 6);
    ck_assert_int_eq(by_decimals[3], 7);
    ck_assert_int_eq(by_decimals[4], 2 - 1);
}
END_TEST

START_TEST(decimals_agree_with_icu_but_for_the_known_differences)
{
    size_t count;
    const struct currency *all = currency_all(&count);
    for (size_t i = 0; i < count; i++) {
        const char *code = all[i].code;
        int expected = icu_decimals(code);
        if (is_one_of(code, differing, sizeof differing / sizeof differing[0])) {
            ck_assert_msg(expected == 0, "%s: ICU has changed", code);
            expected = strcmp(code, "IQD") == 0 ? 3 : 2; /* ISO 4217 list one */
        }
        ck_assert_msg(all[i].decimals == expected, "%s", code);
    }
}
END_TEST

/* Current in ICU 72.1, withdrawn from list one before 2024-06-25: Croatia's, Sierra Leone's and Venezuela's.
 */
static const char *const withdrawn[] = {"HRK", "SLL", "VEF"};

START_TEST(no_currency_that_icu_holds_current_is_missing)
{
    UErrorCode status = U_ZERO_ERROR;
    UEnumeration *codes = ucurr_openISOCurrencies(UCURR_COMMON | UCURR_NON_DEPRECATED, &status);
    ck_assert(U_SUCCESS(status));
    int compared = 0;
    for (const char *code; (code = uenum_next(codes, NULL, &status)) != NULL; compared++) {
        bool gone = is_one_of(code, withdrawn, sizeof withdrawn / sizeof withdrawn[0]);
        ck_assert_msg((currency_find(code) == NULL) == gone, "%s", code);
    }
    ck_assert(U_SUCCESS(status));
    ck_assert_int_gt(compared, 150);
    uenum_close(codes);
}
END_TEST

START_TEST(what_is_no_currency_is_not_found)
{
    static const char *const wrong[] = {
        "BOV", "CHE", "CHW", "CLF",  "COU",  "MXV",  "USN", "UYI", /* funds */
        "XAG", "XAU", "XBA", "XBB",  "XBC",  "XBD",  "XDR", "XPD", "XPT", "XSU", "XTS", "XUA",
        "XXX", /* N.A. */
        "",    "C",   "CA",  "CADX", "CAD ", " CAD", "cad", "Cad", "124", "AAA", "ZZZ", "\xff\xff\xff",
    };
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        ck_assert_msg(!currency_find(wrong[i]), "\"%s\"", wrong[i]);
}
END_TEST

/* The examples of the interface: "6.00" CAD, "600" ISK, "6.000" KWD; and the one code left with 4. */
START_TEST(decimals_of_well_known_currencies)
{
    ck_assert_int_eq(decimals_of("CAD"), 2);
    ck_assert_int_eq(decimals_of("ISK"), 0);
    ck_assert_int_eq(decimals_of("KWD"), 3);
    ck_assert_int_eq(decimals_of("UYW"), 4);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("currency");
    TCase *tests = tcase_create("currency");
    tcase_add_test(tests, table_is_sorted_and_each_code_is_found);
    tcase_add_test(tests, counts_by_decimals_are_those_of_list_one);
    tcase_add_test(tests, decimals_agree_with_icu_but_for_the_known_differences);
    tcase_add_test(tests, no_currency_that_icu_holds_current_is_missing);
    tcase_add_test(tests, what_is_no_currency_is_not_found);
    tcase_add_test(tests, decimals_of_well_known_currencies);
    suite_add_tcase(suite, tests);
    return suite;
}
