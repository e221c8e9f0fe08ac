/* SPDX-License-Identifier: ISC */
/* Carrying: positions at the close of a pay day and of any other day. The rules are the accounting
 * contract's own. */
#include "depositd/settlement.h"

#include "suite.h"

#include <string.h>

enum { FRI = 1 << FRIDAY };
#define DAY(n) (UINT32_C(1) << ((n)-1))

static struct date date_of(const char *text)
{
    struct date date;
    ck_assert_msg(date_parse(text, strlen(text), &date), "%s", text);
    return date;
}

START_TEST(what_is_unpaid_begins_after_the_last_pay_day)
{
    const struct terms terms[] = {
        {.from = date_of("2026-05-01")},                                /* daily */
        {.from = date_of("2026-05-11"), .pay_days = {.weekdays = FRI}}, /* a Monday */
        {.from = date_of("2026-06-01"), .pay_days = {.month_days = DAY(31)}},
    };
    const struct scheme scheme = {.terms = terms, .terms_count = 3};
    static const char *const cases[][2] = {
        {"2026-05-01", "2026-05-01"}, {"2026-05-02", "2026-05-02"}, {"2026-05-11", "2026-05-11"},
        {"2026-05-15", "2026-05-11"}, {"2026-05-16", "2026-05-16"}, {"2026-05-22", "2026-05-16"},
        {"2026-06-30", "2026-05-30"}, {"2026-07-01", "2026-07-01"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        ck_assert_msg(scheme_unpaid_from(&scheme, date_of(cases[i][0])).days == date_of(cases[i][1]).days,
                      "%s", cases[i][0]);
    const struct terms never_yet = {.from = date_of("2026-05-02"), .pay_days = {.month_days = DAY(1)}};
    const struct scheme young = {.terms = &never_yet, .terms_count = 1};
    ck_assert_int_eq(scheme_unpaid_from(&young, date_of("2026-05-20")).days, date_of("2026-05-02").days);
    ck_assert(!scheme_pays_on(&young, date_of("2026-05-20")) &&
              scheme_pays_on(&young, date_of("2026-06-01")));
}
END_TEST

/* The minimum is 20, small positions are carried for 10 days, pay days are Fridays. A position was carried
 * for its size since `since` (NULL: it was not). */
static const struct {
    const char *what, *date;
    int64_t amount, arrears;
    const char *since;
    bool closed; /* the participant has no open site */
    bool carried;
    const char *small_since;
} carryings[] = {
    {"small on a pay day", "2026-05-15", 19, 0, NULL, false, true, "2026-05-15"},
    {"owed", "2026-05-15", -19, 0, NULL, false, true, "2026-05-15"},
    {"as large as the minimum", "2026-05-15", 20, 0, NULL, false, false, NULL},
    {"zero is settled", "2026-05-15", 0, 0, NULL, false, false, NULL},
    {"with arrears", "2026-05-15", 19, 1, NULL, false, false, NULL},
    {"arrears that cancel out", "2026-05-15", 0, -5, NULL, false, false, NULL},
    {"no open site", "2026-05-15", 19, 0, NULL, true, false, NULL},
    {"a week later", "2026-05-22", 19, 0, "2026-05-15", false, true, "2026-05-15"},
    {"another sign", "2026-05-22", -19, 0, "2026-05-15", false, true, "2026-05-15"},
    {"for too long", "2026-05-29", 19, 0, "2026-05-15", false, false, NULL},
    {"for just long enough", "2026-05-29", 19, 0, "2026-05-19", false, false, NULL},
    {"a day short of it", "2026-05-29", 19, 0, "2026-05-20", false, true, "2026-05-20"},
    {"another day: small", "2026-05-16", 19, 0, NULL, false, true, NULL},
    {"another day: large", "2026-05-16", 2000, 0, NULL, false, true, NULL},
    {"another day: zero", "2026-05-16", 0, 0, NULL, false, true, NULL},
    {"another day: arrears", "2026-05-16", 19, 7, NULL, false, true, NULL},
    {"another day: no open site", "2026-05-16", 19, 0, NULL, true, true, NULL},
    {"another day: time goes on", "2026-05-16", 19, 0, "2026-05-15", false, true, "2026-05-15"},
    {"another day: large for now", "2026-05-16", 2000, 0, "2026-05-15", false, true, "2026-05-15"},
    {"another day: zero ends it", "2026-05-16", 0, 0, "2026-05-15", false, true, NULL},
    {"no day makes a pay day", "2026-05-30", 19, 0, "2026-05-15", false, true, "2026-05-15"},
    {"zero on the day starts it anew", "2026-05-22", 5, 0, NULL, false, true, "2026-05-22"},
};

START_TEST(positions_are_carried_or_settled)
{
    const struct terms terms = {.minimum_payment = {20}, .pay_days = {.weekdays = FRI}};
    struct position position = {
        .amount = {carryings[_i].amount},
        .arrears = {carryings[_i].arrears},
        .was_small = carryings[_i].since != NULL,
        .small_since = carryings[_i].since != NULL ? date_of(carryings[_i].since) : (struct date){0},
        .has_open_site = !carryings[_i].closed,
    };
    struct carrying carrying = position_carrying(&position, date_of(carryings[_i].date), &terms, 10);
    ck_assert_msg(carrying.carried == carryings[_i].carried, "%s", carryings[_i].what);
    ck_assert_msg(carrying.small == (carryings[_i].small_since != NULL), "%s", carryings[_i].what);
    if (carrying.small)
        ck_assert_msg(carrying.small_since.days == date_of(carryings[_i].small_since).days, "%s",
                      carryings[_i].what);
}
END_TEST

/* Holidays and weekends move the day on which a payment is due, and nothing else. */
START_TEST(payments_are_due_on_the_next_banking_day)
{
    const struct date holidays[] = {date_of("2026-05-18")}; /* a Monday */
    ck_assert_int_eq(payment_due_on(date_of("2026-05-12"), holidays, 1).days, date_of("2026-05-13").days);
    ck_assert_int_eq(payment_due_on(date_of("2026-05-15"), holidays, 1).days, date_of("2026-05-19").days);
    ck_assert_int_eq(payment_due_on(date_of("2026-05-15"), NULL, 0).days, date_of("2026-05-18").days);
}
END_TEST

Suite *file_suite(void)
{
    TCase *cases = tcase_create("settlement");
    tcase_add_test(cases, what_is_unpaid_begins_after_the_last_pay_day);
    tcase_add_loop_test(cases, positions_are_carried_or_settled, 0,
                        (int)(sizeof carryings / sizeof carryings[0]));
    tcase_add_test(cases, payments_are_due_on_the_next_banking_day);
    Suite *suite = suite_create("settlement");
    suite_add_tcase(suite, cases);
    return suite;
}
