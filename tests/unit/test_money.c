/* SPDX-License-Identifier: ISC */
/* Money: checked arithmetic at the ends of 64 bits; tax against IEEE 754's own rounding half to even and
 * against statutory fractions; and the reading and writing of amounts; exchange against Python's
 * decimal arithmetic. */
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

/* Amounts in minor units, exchanged by the decimal module of Python 3.11: (amount * rate).quantize(…,
 * ROUND_HALF_EVEN) with 60 digits. Decimals of the currencies are those of ISO 4217. */
static const struct {
    int64_t amount;
    const char *currency, *rate, *other;
    int64_t exchanged;
} exchanges[] = {
    {INT64_C(1), "EUR", "0.5", "EUR", INT64_C(0)},
    {INT64_C(3), "EUR", "0.5", "EUR", INT64_C(2)},
    {INT64_C(-1), "EUR", "0.5", "EUR", INT64_C(0)},
    {INT64_C(-3), "EUR", "0.5", "EUR", INT64_C(-2)},
    {INT64_C(250), "EUR", "2.755", "KWD", INT64_C(6888)},
    {INT64_C(5), "EUR", "50", "JPY", INT64_C(2)},
    {INT64_C(15), "EUR", "10", "JPY", INT64_C(2)},
    {INT64_C(25), "EUR", "10", "JPY", INT64_C(2)},
    {INT64_C(-25), "EUR", "10", "JPY", INT64_C(-2)},
    {INT64_C(1500), "KWD", "3.027", "EUR", INT64_C(454)},
    {INT64_C(1), "KWD", "0.5", "EUR", INT64_C(0)},
    {INT64_C(5), "KWD", "1", "EUR", INT64_C(0)},
    {INT64_C(15), "KWD", "1", "EUR", INT64_C(2)},
    {INT64_C(25), "KWD", "1", "EUR", INT64_C(2)},
    {INT64_C(300), "JPY", "0.006173", "EUR", INT64_C(185)},
    {INT64_C(1), "JPY", "0.0018915", "KWD", INT64_C(2)},
    {INT64_C(7), "JPY", "0.002", "KWD", INT64_C(14)},
    {INT64_C(1), "JPY", "0.0025", "KWD", INT64_C(2)},
    {INT64_C(1), "JPY", "0.000500000001", "KWD", INT64_C(1)},
    {INT64_C(1), "JPY", "0.0005", "KWD", INT64_C(0)},
    {INT64_C(1), "JPY", "0.0015", "KWD", INT64_C(2)},
    {INT64_C(250), "EUR", "1", "EUR", INT64_C(250)},
    {INT64_C(1234567), "BHD", "39.123456789012", "ISK", INT64_C(48301)},
    {INT64_C(999999999999), "ISK", "0.006666666667", "EUR", INT64_C(666666666699)},
    {INT64_C(1000000000000), "KWD", "9223372.036854", "JPY", INT64_C(9223372036854000)},
    {INT64_C(123456789012345), "EUR", "0.000000000001", "BHD", INT64_C(1235)},
    {INT64_C(9223372036854775807), "JPY", "1", "JPY", INT64_C(9223372036854775807)},
    {INT64_C(-9223372036854775807), "KWD", "0.1", "EUR", INT64_C(-92233720368547758)},
    {INT64_C(35821286), "CAD", "0.066391", "CAD", INT64_C(2378211)},
    {INT64_C(6404656737), "CAD", "0.046415", "BHD", INT64_C(2972721424)},
    {INT64_C(-518974292), "JPY", "5.84", "CAD", INT64_C(-303080986528)},
    {INT64_C(60415), "KWD", "144", "ISK", INT64_C(8700)},
    {INT64_C(-22183), "BHD", "0.0418", "EUR", INT64_C(-93)},
    {INT64_C(-706540024), "BHD", "0.000008207", "KWD", INT64_C(-5799)},
    {INT64_C(37163880), "JPY", "0.0003", "CAD", INT64_C(1114916)},
    {INT64_C(12995192959), "ISK", "942.08339", "JPY", INT64_C(12242555436519)},
    {INT64_C(-700965193), "JPY", "88.113", "JPY", INT64_C(-61764146051)},
    {INT64_C(1504738), "CAD", "0.00577", "BHD", INT64_C(86823)},
    {INT64_C(-539685), "JPY", "0.0000011", "BHD", INT64_C(-594)},
};

static bool exchange(int64_t amount, const char *currency, const char *rate_text, const char *other,
                     struct money *exchanged)
{
    struct exchange_rate rate;
    ck_assert_msg(exchange_rate_parse(rate_text, strlen(rate_text), &rate), "%s", rate_text);
    return money_exchange(money(amount), currency_find(currency)->decimals, rate,
                          currency_find(other)->decimals, exchanged);
}

START_TEST(amounts_are_exchanged_as_the_decimal_module_of_python_does)
{
    struct money exchanged = {UNTOUCHED};
    ck_assert(exchange(exchanges[_i].amount, exchanges[_i].currency, exchanges[_i].rate, exchanges[_i].other,
                       &exchanged));
    ck_assert_int_eq(exchanged.minor, exchanges[_i].exchanged);
}
END_TEST

START_TEST(an_exchange_that_does_not_fit_is_refused)
{
    struct money exchanged = {UNTOUCHED};
    ck_assert(!exchange(INT64_MAX, "JPY", "1.1", "JPY", &exchanged));
    ck_assert(!exchange(INT64_MAX, "JPY", "1", "EUR", &exchanged));
    ck_assert(!exchange(INT64_MIN, "EUR", "9223372.036854775807", "BHD", &exchanged));
    ck_assert(!exchange(INT64_C(-1000000000000), "EUR", "1234567.000000000001", "KWD", &exchanged));
    ck_assert_int_eq(exchanged.minor, UNTOUCHED);
    ck_assert(exchange(INT64_MIN, "JPY", "1", "JPY", &exchanged));
    ck_assert_int_eq(exchanged.minor, INT64_MIN);
}
END_TEST

static const struct {
    const char *text;
    int64_t e12; /* 0: it is no rate */
} rates_read[] = {
    {"1", INT64_C(1000000000000)},
    {"0.000000000001", 1},
    {"149.5", INT64_C(149500000000000)},
    {"10.000000000000", INT64_C(10000000000000)},
    {"9223372.036854775807", INT64_MAX},
    {"9223372.036854775808", 0},
    {"0.0000000000001", 0}, /* 13 decimals */
    {"1.0000000000000", 0},
    {"0", 0},
    {"0.000", 0},
    {"-1", 0},
    {"+1", 0},
    {"1e3", 0},
    {"01", 0},
    {".5", 0},
    {"5.", 0},
    {"1.2.3", 0},
    {"", 0},
    {".", 0},
    {" 1", 0},
    {"1,5", 0},
    {"99999999999999999999999999999999", 0},
};

START_TEST(rates_of_exchange_are_read_strictly)
{
    struct exchange_rate rate = {0};
    bool is_rate = exchange_rate_parse(rates_read[_i].text, strlen(rates_read[_i].text), &rate);
    ck_assert_int_eq(is_rate, rates_read[_i].e12 != 0);
    ck_assert_int_eq(rate.e12, rates_read[_i].e12);
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
    tcase_add_loop_test(tests, amounts_are_exchanged_as_the_decimal_module_of_python_does, 0,
                        (int)(sizeof exchanges / sizeof exchanges[0]));
    tcase_add_test(tests, an_exchange_that_does_not_fit_is_refused);
    tcase_add_loop_test(tests, rates_of_exchange_are_read_strictly, 0,
                        (int)(sizeof rates_read / sizeof rates_read[0]));
    suite_add_tcase(suite, tests);
    return suite;
}
