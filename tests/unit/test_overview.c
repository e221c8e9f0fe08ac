/* SPDX-License-Identifier: ISC */
/* The page of all schemes: the order is this project's own rule. Each row here is worse than the next one,
 * for one reason alone, however high the amounts of the next one are. */
#include "app/office/overview.h"

#include "suite.h"

#include <stdlib.h>
#include <string.h>

static const struct currency cad = {"CAD", 2}, isk = {"ISK", 0};
static const struct scheme schemes[] = {
    {.code = "short", .currency = &isk},    {.code = "long-open", .currency = &cad},
    {.code = "day-open", .currency = &cad}, {.code = "overdue", .currency = &cad},
    {.code = "arrears", .currency = &isk},  {.code = "open", .currency = &cad},
    {.code = "brick", .currency = &cad},    {.code = "copper", .currency = &cad},
};
enum { ROWS = sizeof schemes / sizeof schemes[0] };

static void fill(struct overview_row rows[ROWS])
{
    for (size_t i = 0; i < ROWS; i++)
        rows[i] = (struct overview_row){.scheme = &schemes[i]};
    rows[0].amounts[OVERVIEW_AMOUNT_UNCOVERED].minor = 1;
    rows[1].counts[OVERVIEW_COUNT_DAYS] = 2;
    rows[2].counts[OVERVIEW_COUNT_DAYS] = 1;
    rows[2].counts[OVERVIEW_COUNT_EXCEPTIONS] = 100;
    rows[3].overdue = 1;
    rows[3].amounts[OVERVIEW_AMOUNT_TO_COLLECT].minor = 5;
    rows[4].amounts[OVERVIEW_AMOUNT_ARREARS_OF_POOL].minor = 1;
    rows[5].counts[OVERVIEW_COUNT_BANK_LINES] = 3;
    rows[5].amounts[OVERVIEW_AMOUNT_TO_PAY].minor = 1000000;
}

START_TEST(the_worst_comes_first)
{
    struct overview_row rows[ROWS], mixed[ROWS];
    fill(rows);
    for (size_t i = 0; i < ROWS; i++)
        mixed[i] = rows[(i * 5 + 3) % ROWS];
    qsort(mixed, ROWS, sizeof mixed[0], overview_order);
    for (size_t i = 0; i < ROWS; i++)
        ck_assert_str_eq(mixed[i].scheme->code, schemes[i].code);
}
END_TEST

START_TEST(states)
{
    static const enum overview_state worst[ROWS] = {OVERVIEW_UNCOVERED, OVERVIEW_LATE, OVERVIEW_LATE,
                                                    OVERVIEW_OWED,      OVERVIEW_OWED, OVERVIEW_OWED,
                                                    OVERVIEW_CLEAR,     OVERVIEW_CLEAR};
    struct overview_row rows[ROWS];
    fill(rows);
    for (size_t i = 0; i < ROWS; i++)
        ck_assert_int_eq(overview_worst(&rows[i]), worst[i]);
    ck_assert(overview_is(&rows[2], OVERVIEW_OPEN) && overview_is(&rows[5], OVERVIEW_OPEN));
    rows[6].late_events = 1;
    ck_assert_int_eq(overview_worst(&rows[6]), OVERVIEW_LATE);
    rows[7].counts[OVERVIEW_COUNT_OPENINGS] = 1;
    ck_assert_int_eq(overview_worst(&rows[7]), OVERVIEW_OPEN);
    ck_assert(overview_states[OVERVIEW_STATES] == NULL);
}
END_TEST

/* 1000 ISK at 0.0095 CAD are 9.50, and 12.34 CAD stay: 21.84. */
START_TEST(one_currency_by_hand)
{
    struct overview_sums sums[] = {
        {.currency = &cad, .schemes = 2, .amounts[OVERVIEW_AMOUNT_TO_PAY] = {1234}},
        {.currency = &isk, .schemes = 1, .amounts[OVERVIEW_AMOUNT_TO_PAY] = {1000}},
    };
    struct overview_rate rate = {&isk, {95, 4}};
    const struct overview overview = {.sums = sums, .sum_count = 2};
    struct overview_sums one;
    ck_assert(overview_in_one(&overview, &cad, &rate, 1, &one));
    ck_assert_int_eq(one.schemes, 3);
    ck_assert_int_eq(one.amounts[OVERVIEW_AMOUNT_TO_PAY].minor, 2184);
    ck_assert_int_eq(one.amounts[OVERVIEW_AMOUNT_UNCOVERED].minor, 0);
    sums[1].amounts[OVERVIEW_AMOUNT_TO_PAY].minor = INT64_MAX;
    rate.rate = (struct decimal){2, 0};
    ck_assert(!overview_in_one(&overview, &cad, &rate, 1, &one));
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("overview");
    TCase *tests = tcase_create("overview");
    tcase_add_test(tests, the_worst_comes_first);
    tcase_add_test(tests, states);
    tcase_add_test(tests, one_currency_by_hand);
    suite_add_tcase(suite, tests);
    return suite;
}
