/* SPDX-License-Identifier: ISC */
/* Sums in another currency. The rates are the irrevocable ones of Council Regulations (EC) 2866/98 and (EU)
 * 2022/1208: one euro is 6.55957 French francs, 1936.27 Italian lire, 7.53450 Croatian kuna (from memory);
 * currencies of today with as many decimals stand in for them. */
#include "depositd/money.h"

#include "suite.h"

static const struct {
    const char *from, *to;
    int64_t minor, rate;
    uint8_t scale;
    int64_t sum;
} cases[] = {
    {"EUR", "CAD", 10000, 655957, 5, 65596}, /* 100 euro: 655.957 */
    {"EUR", "ISK", 100, 193627, 2, 1936},    /* 1 euro: 1936.27, in a currency without decimals */
    {"EUR", "KWD", 100, 753450, 5, 7534},    /* 1 euro: 7.5345, with three: half to even */
    {"ISK", "EUR", 1000000, 67, 4, 670000},  /* 0.0067 */
    {"CAD", "EUR", 1, 5, 1, 0},              /* half a cent: to the even 0 */
    {"CAD", "EUR", 3, 5, 1, 2},              /* one and a half: to the even 2 */
    {"CAD", "EUR", -3, 5, 1, -2},
    {"CAD", "EUR", 0, 68, 2, 0},
};

START_TEST(fixed_rates)
{
    struct money sum;
    const struct currency *from = currency_find(cases[_i].from), *to = currency_find(cases[_i].to);
    ck_assert(money_exchange_at((struct money){cases[_i].minor}, from, to,
                                (struct decimal){cases[_i].rate, cases[_i].scale}, &sum));
    ck_assert_int_eq(sum.minor, cases[_i].sum);
}
END_TEST

START_TEST(too_large)
{
    struct money sum;
    const struct currency *cad = currency_find("CAD"), *eur = currency_find("EUR");
    ck_assert(!money_exchange_at((struct money){INT64_MAX}, cad, eur, (struct decimal){2, 0}, &sum));
    ck_assert(!money_exchange_at((struct money){INT64_MIN}, cad, eur, (struct decimal){2, 0}, &sum));
    ck_assert(
        !money_exchange_at((struct money){1}, cad, eur, (struct decimal){MONEY_STATED_MAX + 1, 0}, &sum));
    ck_assert(money_exchange_at((struct money){INT64_MAX}, cad, eur, (struct decimal){1, 0}, &sum));
    ck_assert_int_eq(sum.minor, INT64_MAX);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("exchange");
    TCase *tests = tcase_create("exchange");
    tcase_add_loop_test(tests, fixed_rates, 0, sizeof cases / sizeof cases[0]);
    tcase_add_test(tests, too_large);
    suite_add_tcase(suite, tests);
    return suite;
}
