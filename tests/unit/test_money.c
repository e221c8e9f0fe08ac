/* SPDX-License-Identifier: ISC */
/* Money: checked arithmetic at the ends of 64 bits; tax against IEEE 754's own rounding half to even and
 * against statutory fractions; and the reading and writing of amounts. */
#include "depositd/money.h"

#include "suite.h"

#include <math.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>

/* The value of a result before anything is written to it. */
enum { UNTOUCHED = 4711 };

static struct money money(int64_t minor)
{
    return (struct money){minor};
}

START_TEST(arithmetic_is_exact_within_64_bits)
{
    struct money result;
    struct cups cups;
    ck_assert(money_add(money(INT64_MAX - 1), money(1), &result));
    ck_assert_int_eq(result.minor, INT64_MAX);
    ck_assert(money_sub(money(INT64_MIN + 1), money(1), &result));
    ck_assert_int_eq(result.minor, INT64_MIN);
    ck_assert(money_sub(money(-1), money(INT64_MIN), &result));
    ck_assert_int_eq(result.minor, INT64_MAX);
    ck_assert(money_times(money(-250), (struct cups){1000000}, &result));
    ck_assert_int_eq(result.minor, -250000000);
    ck_assert(money_times(money(INT64_MIN), (struct cups){1}, &result));
    ck_assert_int_eq(result.minor, INT64_MIN);
    ck_assert(cups_add((struct cups){INT64_MIN}, (struct cups){INT64_MAX}, &cups));
    ck_assert_int_eq(cups.count, -1);
}
END_TEST

START_TEST(overflow_is_refused_and_leaves_the_result)
{
    struct money result = {UNTOUCHED};
    struct cups cups = {UNTOUCHED};
    ck_assert(!money_add(money(INT64_MAX), money(1), &result));
    ck_assert(!money_add(money(INT64_MIN), money(-1), &result));
    ck_assert(!money_sub(money(0), money(INT64_MIN), &result));
    ck_assert(!money_sub(money(INT64_MIN), money(1), &result));
    ck_assert(!money_times(money(INT64_MIN), (struct cups){-1}, &result));
    ck_assert(!money_times(money(MONEY_STATED_MAX), (struct cups){10000000}, &result));
    ck_assert_int_eq(result.minor, UNTOUCHED);
    ck_assert(!cups_add((struct cups){INT64_MAX}, (struct cups){1}, &cups));
    ck_assert(!cups_add((struct cups){INT64_MIN}, (struct cups){-1}, &cups));
    ck_assert_int_eq(cups.count, UNTOUCHED);
}
END_TEST

/* A result may be one of the operands. */
START_TEST(arithmetic_works_in_place)
{
    struct money sum = {40};
    ck_assert(money_add(sum, money(2), &sum));
    ck_assert(money_sub(money(50), sum, &sum));
    ck_assert_int_eq(sum.minor, 8);
}
END_TEST

/* IEEE 754 roundTiesToEven, the default of nearbyintl(). Within these bounds a 64-bit significand is so exact
 * that only true ties look like ties. */
static int64_t ieee_round(int64_t amount, int32_t numerator, int32_t denominator)
{
    return (int64_t)nearbyintl((long double)(amount * numerator) / denominator);
}

START_TEST(tax_rounds_as_ieee_754_does)
{
    static const int32_t rates[] = {0, 1, 10000, 50000, 77777, 150000, 250000, 333333, 500000, 999999, PPM};
    for (size_t i = 0; i < sizeof rates / sizeof rates[0]; i++) {
        struct rate rate = {rates[i]};
        for (int64_t minor = -5000; minor <= 5000; minor++) {
            if (money_tax_on(money(minor), rate).minor != ieee_round(minor, rate.ppm, PPM) ||
                money_tax_within(money(minor), rate).minor != ieee_round(minor, rate.ppm, PPM + rate.ppm))
                ck_abort_msg("%d of %d ppm", (int)minor, rate.ppm);
        }
    }
}
END_TEST

START_TEST(ties_go_to_the_even_neighbour_on_both_sides_of_zero)
{
    const struct rate half = {500000};
    static const int64_t doubled[][2] = {{1, 0},  {3, 2},   {5, 2},   {7, 4},   {9, 4},
                                         {-1, 0}, {-3, -2}, {-5, -2}, {-7, -4}, {-9, -4}};
    for (size_t i = 0; i < sizeof doubled / sizeof doubled[0]; i++)
        ck_assert_int_eq(money_tax_on(money(doubled[i][0]), half).minor, doubled[i][1]);
    /* A gross amount of 2n at 100 % holds n of tax: odd gross amounts are ties. */
    ck_assert_int_eq(money_tax_within(money(5), (struct rate){PPM}).minor, 2);
    ck_assert_int_eq(money_tax_within(money(-7), (struct rate){PPM}).minor, -4);
}
END_TEST

START_TEST(tax_within_gives_the_statutory_fractions)
{
    /* Australia, A New Tax System (Goods and Services Tax) Act 1999, sections 9-70 and 9-75 (from memory): at
     * 10 % the tax is 1/11 of the price. */
    const struct rate ten = {100000};
    ck_assert_int_eq(money_tax_within(money(11000), ten).minor, 1000);
    ck_assert_int_eq(money_tax_within(money(200), ten).minor, 18);
    ck_assert_int_eq(money_tax_within(money(550), ten).minor, 50);
    /* United Kingdom, the VAT fraction at 20 % is 1/6 (from memory). */
    ck_assert_int_eq(money_tax_within(money(120), (struct rate){200000}).minor, 20);
}
END_TEST

/* Fee and tax of the project's worked example, tern-bay on 2026-05-12, at 15 %. */
START_TEST(tax_on_fees_matches_the_worked_example)
{
    static const int64_t fees[][2] = {{400, 60}, {88, 13}, {40, 6}, {24, 4}, {20, 3}, {12, 2}};
    for (size_t i = 0; i < sizeof fees / sizeof fees[0]; i++)
        ck_assert_int_eq(money_tax_on(money(fees[i][0]), (struct rate){150000}).minor, fees[i][1]);
}
END_TEST

START_TEST(tax_does_not_overflow_at_the_ends_of_64_bits)
{
    const struct rate all = {PPM};
    ck_assert_int_eq(money_tax_on(money(INT64_MAX), all).minor, INT64_MAX);
    ck_assert_int_eq(money_tax_on(money(INT64_MIN), all).minor, INT64_MIN);
    ck_assert_int_eq(money_tax_within(money(INT64_MIN), all).minor, INT64_MIN / 2);
    ck_assert_int_eq(money_tax_within(money(INT64_MAX), all).minor, INT64_MAX / 2 + 1); /* a tie, to even */
}
END_TEST

/* Programming errors are asserted. */
START_TEST(a_negative_rate_is_a_bug)
{
    (void)money_tax_on(money(1), (struct rate){-1});
}
END_TEST

START_TEST(a_rate_over_one_is_a_bug)
{
    (void)money_tax_within(money(1), (struct rate){PPM + 1});
}
END_TEST

/* Sums of taxes are exact. They are rounded once, half to even, on both sides of zero. */
START_TEST(taxes_are_summed_before_they_are_rounded)
{
    struct tax_sum sum = {0};
    ck_assert(money_tax_add(&sum, money(1), (struct rate){250000}));
    ck_assert(money_tax_add(&sum, money(1), (struct rate){250000}));
    ck_assert_int_eq(money_tax_rounded(sum).minor, 0); /* 0.5 */
    ck_assert(money_tax_add(&sum, money(1), (struct rate){PPM}));
    ck_assert_int_eq(money_tax_rounded(sum).minor, 2); /* 1.5 */
    ck_assert(money_tax_add(&sum, money(-8), (struct rate){250000}));
    ck_assert_int_eq(money_tax_rounded(sum).minor, 0); /* -0.5 */
    ck_assert(money_tax_add(&sum, money(-1), (struct rate){1}));
    ck_assert_int_eq(money_tax_rounded(sum).minor, -1); /* -0.500001 */
    ck_assert(money_tax_add(&sum, money(-1), (struct rate){999999}));
    ck_assert_int_eq(money_tax_rounded(sum).minor, -2); /* -1.5 */
}
END_TEST

START_TEST(a_tax_sum_that_does_not_fit_is_refused)
{
    struct tax_sum sum = {0};
    ck_assert(money_tax_add(&sum, money(INT64_MAX - 1), (struct rate){PPM}));
    ck_assert(!money_tax_add(&sum, money(1), (struct rate){PPM}));
    ck_assert(!money_tax_add(&sum, money(INT64_MAX), (struct rate){PPM}));
    ck_assert_int_eq(money_tax_rounded(sum).minor, INT64_MAX - 1);
    sum = (struct tax_sum){0};
    ck_assert(money_tax_add(&sum, money(INT64_MIN + 1), (struct rate){PPM}));
    ck_assert(!money_tax_add(&sum, money(-1), (struct rate){PPM}));
    ck_assert(!money_tax_add(&sum, money(INT64_MIN), (struct rate){1}));
}
END_TEST

static const struct {
    const char *text;
    int64_t unscaled;
    int scale; /* -1: refused */
} decimals[] = {
    {"0", 0, 0},
    {"6.00", 600, 2},
    {"600", 600, 0},
    {"6.000", 6000, 3},
    {"-0.50", -50, 2},
    {"-0", 0, 0},
    {"-0.00", 0, 2},
    {"0.000001", 1, 6},
    {"0.15", 15, 2},
    {"999999999999999999", 999999999999999999, 0},
    {"-999999999999.999999", -999999999999999999, 6},
    {"", 0, -1},
    {"-", 0, -1},
    {".", 0, -1},
    {".5", 0, -1},
    {"-.5", 0, -1},
    {"5.", 0, -1},
    {"+5", 0, -1},
    {"--5", 0, -1},
    {"05", 0, -1},
    {"00", 0, -1},
    {"-00.5", 0, -1},
    {" 5", 0, -1},
    {"5 ", 0, -1},
    {"5\n", 0, -1},
    {"5,00", 0, -1},
    {"1'000", 0, -1},
    {"1e3", 0, -1},
    {"0x10", 0, -1},
    {"5.0.0", 0, -1},
    {"5.-1", 0, -1},
    {"5.0a", 0, -1},
    {"NaN", 0, -1},
    {"1.0000000", 0, -1},                           /* 7 decimals */
    {"99999999999999999.0", 999999999999999990, 1}, /* 18 digits are read exactly … */
    {"1000000000000000000", INT64_MAX, 0},          /* … 19 as a number too large for anything */
    {"9223372036854775808", INT64_MAX, 0},          /* 2^63 */
    {"-9223372036854775809", -INT64_MAX, 0},
    {"9999999999999.999999", INT64_MAX, 6},
    {"99999999999999999999.00", INT64_MAX, 2}, /* each part may have 18 digits, both together as well */
    {"-12345678901234567.00", -INT64_MAX, 2},
    {"99999999999999999999999999999999999999999999999999999999999999999999999999", INT64_MAX, 0},
    {"9999999999999999999.0000000", 0, -1}, /* 7 decimals */
    {"9999999999999999999.", 0, -1},
    {"\xd9\xa1", 0, -1}, /* U+0661, a digit, but not of ASCII */
};

START_TEST(decimals_are_read_strictly)
{
    struct decimal number = {UNTOUCHED, 99};
    const char *text = decimals[_i].text;
    bool good = decimals[_i].scale >= 0;

    ck_assert_msg(decimal_parse(text, strlen(text), &number) == good, "\"%s\"", text);
    ck_assert_int_eq(number.unscaled, good ? decimals[_i].unscaled : UNTOUCHED);
    ck_assert_int_eq(number.scale, good ? decimals[_i].scale : 99);
}
END_TEST

START_TEST(decimals_end_at_the_length_not_at_a_nul)
{
    struct decimal number;
    ck_assert(!decimal_parse("5\0.00", 5, &number));
    ck_assert(!decimal_parse("5.0\0", 4, &number));
    ck_assert(decimal_parse("12.345", 2, &number));
    ck_assert_int_eq(number.unscaled, 12);
    ck_assert(!decimal_parse("12.345", 3, &number));
}
END_TEST

START_TEST(amounts_are_written_with_their_decimals)
{
    static const struct {
        int64_t minor;
        unsigned decimals;
        const char *text;
    } cases[] = {
        {600, 2, "6.00"},
        {600, 0, "600"},
        {6000, 3, "6.000"},
        {0, 0, "0"},
        {0, 2, "0.00"},
        {5, 2, "0.05"},
        {-5, 2, "-0.05"},
        {-50, 2, "-0.50"},
        {100, 2, "1.00"},
        {12345, 4, "1.2345"},
        {1, 18, "0.000000000000000001"},
        {INT64_MAX, 2, "92233720368547758.07"},
        {INT64_MIN, 0, "-9223372036854775808"},
        {INT64_MIN, 18, "-9.223372036854775808"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[MONEY_TEXT_MAX];
        size_t length = money_format(money(cases[i].minor), cases[i].decimals, text);
        ck_assert_str_eq(text, cases[i].text);
        ck_assert_uint_eq(length, strlen(text));
    }
}
END_TEST

START_TEST(what_is_written_is_read_back)
{
    srandom(4217);
    for (int i = 0; i < 100000; i++) {
        int64_t minor = (int64_t)random() * random() % MONEY_STATED_MAX * (random() % 2 ? 1 : -1);
        unsigned scale = (unsigned)random() % 5;
        char text[MONEY_TEXT_MAX];
        struct decimal number;
        size_t length = money_format(money(minor), scale, text);
        if (!decimal_parse(text, length, &number) || number.unscaled != minor || number.scale != scale)
            ck_abort_msg("%s", text);
    }
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("money");
    TCase *tests = tcase_create("money");
    tcase_add_test(tests, arithmetic_is_exact_within_64_bits);
    tcase_add_test(tests, overflow_is_refused_and_leaves_the_result);
    tcase_add_test(tests, arithmetic_works_in_place);
    tcase_add_test(tests, tax_rounds_as_ieee_754_does);
    tcase_add_test(tests, ties_go_to_the_even_neighbour_on_both_sides_of_zero);
    tcase_add_test(tests, tax_within_gives_the_statutory_fractions);
    tcase_add_test(tests, tax_on_fees_matches_the_worked_example);
    tcase_add_test(tests, tax_does_not_overflow_at_the_ends_of_64_bits);
    tcase_add_test(tests, taxes_are_summed_before_they_are_rounded);
    tcase_add_test(tests, a_tax_sum_that_does_not_fit_is_refused);
    tcase_add_test_raise_signal(tests, a_negative_rate_is_a_bug, SIGABRT);
    tcase_add_test_raise_signal(tests, a_rate_over_one_is_a_bug, SIGABRT);
    tcase_add_loop_test(tests, decimals_are_read_strictly, 0, (int)(sizeof decimals / sizeof decimals[0]));
    tcase_add_test(tests, decimals_end_at_the_length_not_at_a_nul);
    tcase_add_test(tests, amounts_are_written_with_their_decimals);
    tcase_add_test(tests, what_is_written_is_read_back);
    suite_add_tcase(suite, tests);
    return suite;
}
