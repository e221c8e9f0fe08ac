/* SPDX-License-Identifier: ISC */
/* Pay days: which dates are pay days, by hand and against the C library's calendar. The rules are the
 * accounting contract's own; the weekdays of the dates in the table are from `cal`. */
#include "depositd/pay_days.h"

#include "suite.h"

#include <string.h>
#include <time.h>

enum { MON = 1 << MONDAY, WED = 1 << WEDNESDAY, FRI = 1 << FRIDAY, SUN = 1 << SUNDAY };
#define DAY(n) (UINT32_C(1) << ((n)-1))

static struct date date_of(const char *text)
{
    struct date date;
    ck_assert_msg(date_parse(text, strlen(text), &date), "%s", text);
    return date;
}

static const struct {
    struct pay_days days;
    const char *date;
    bool included;
} dates[] = {
    {{0, 0}, "2026-05-12", true},
    {{FRI, 0}, "2026-05-15", true}, /* a Friday */
    {{FRI, 0}, "2026-05-14", false},
    {{FRI, 0}, "2026-05-16", false},
    {{MON | SUN, 0}, "2026-05-17", true},
    {{MON | SUN, 0}, "2026-05-18", true},
    {{MON | SUN, 0}, "2026-05-19", false},
    {{WED, 0}, "2024-02-29", false}, /* a Thursday */
    {{WED, 0}, "2024-02-28", true},
    {{0, DAY(1) | DAY(15)}, "2026-05-01", true},
    {{0, DAY(1) | DAY(15)}, "2026-05-15", true},
    {{0, DAY(1) | DAY(15)}, "2026-05-31", false},
    {{0, DAY(31)}, "2026-01-31", true},
    {{0, DAY(31)}, "2026-01-30", false},
    {{0, DAY(31)}, "2026-04-30", true}, /* April lacks a 31st */
    {{0, DAY(31)}, "2026-04-29", false},
    {{0, DAY(30)}, "2026-01-31", false},
    {{0, DAY(30)}, "2026-02-28", true},
    {{0, DAY(29)}, "2026-02-28", true}, /* no leap year */
    {{0, DAY(29)}, "2024-02-29", true},
    {{0, DAY(29)}, "2024-02-28", false},
    {{0, DAY(29)}, "2000-02-28", false}, /* divisible by 400 */
    {{0, DAY(29)}, "2100-02-28", true},  /* divisible by 100 only */
    {{0, DAY(29) | DAY(30) | DAY(31)}, "2026-02-28", true},
    {{0, DAY(28) | DAY(29)}, "2024-02-28", true},
};

START_TEST(dates_are_pay_days)
{
    ck_assert_msg(pay_days_include(dates[_i].days, date_of(dates[_i].date)) == dates[_i].included, "%s",
                  dates[_i].date);
}
END_TEST

/* Over 130 years, with 2000 (a leap year) and 2100 (none): the weekday of each date is that of the C library,
 * and each day of the month stands for exactly one date of each month. */
START_TEST(the_calendar_is_that_of_the_c_library)
{
    unsigned hits[MONTH_DAYS_MAX] = {0};
    int32_t from = date_of("1996-01-01").days, to = date_of("2125-12-31").days;
    for (int32_t day = from; day <= to; day++) {
        time_t noon = (time_t)day * 86400 + 43200, tomorrow = noon + 86400;
        struct tm at, next;
        ck_assert_ptr_nonnull(gmtime_r(&noon, &at));
        ck_assert_ptr_nonnull(gmtime_r(&tomorrow, &next));
        for (int weekday = 0; weekday < WEEKDAYS; weekday++) /* tm_wday: 0 is Sunday */
            ck_assert_int_eq(
                pay_days_include((struct pay_days){.weekdays = 1U << weekday}, (struct date){day}),
                (at.tm_wday + 6) % 7 == weekday);
        for (unsigned n = 1; n <= MONTH_DAYS_MAX; n++)
            hits[n - 1] += pay_days_include((struct pay_days){.month_days = DAY(n)}, (struct date){day});
        for (unsigned n = 1; next.tm_mday == 1 && n <= MONTH_DAYS_MAX; n++) {
            ck_assert_msg(hits[n - 1] == 1, "day %u of month %d of %d", n, at.tm_mon + 1, at.tm_year + 1900);
            hits[n - 1] = 0;
        }
    }
}
END_TEST

Suite *file_suite(void)
{
    TCase *cases = tcase_create("pay days");
    tcase_add_loop_test(cases, dates_are_pay_days, 0, (int)(sizeof dates / sizeof dates[0]));
    tcase_add_test(cases, the_calendar_is_that_of_the_c_library);
    Suite *suite = suite_create("pay_days");
    suite_add_tcase(suite, cases);
    return suite;
}
