/* SPDX-License-Identifier: ISC */
/* The number of attempts for each result, by caller. Above all, nothing is repeated that may have been
 * committed. */
#include "app/transaction/retry.h"

#include "suite.h"

static const struct {
    enum store_result result;
    int office, writer; /* attempts in all */
} cases[] = {
    {STORE_OK, 1, 1},       {STORE_UNAVAILABLE, 1, 2},  {STORE_OUTCOME_UNKNOWN, 1, 1}, /* it may have been
                                                                                          committed */
    {STORE_CONFLICT, 5, 5}, {STORE_OUT_OF_RANGE, 1, 1}, {STORE_REFUSED, 1, 1},         {STORE_FAILED, 1, 1},
    {STORE_TOO_SLOW, 1, 1}, /* the deadline has passed */
    {STORE_LOCKED, 1, 5},
};

static int attempts_of(enum retrying who, enum store_result result)
{
    int attempts = 1;
    while (attempts < 100 && retry_is_due(who, result, attempts))
        attempts++;
    return attempts;
}

START_TEST(attempts_in_all)
{
    ck_assert_int_eq(attempts_of(RETRYING_OFFICE, cases[_i].result), cases[_i].office);
    ck_assert_int_eq(attempts_of(RETRYING_WRITER, cases[_i].result), cases[_i].writer);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("retry");
    TCase *tests = tcase_create("attempts");
    tcase_add_loop_test(tests, attempts_in_all, 0, (int)(sizeof cases / sizeof cases[0]));
    suite_add_tcase(suite, tests);
    return suite;
}
