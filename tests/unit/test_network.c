/* SPDX-License-Identifier: ISC */
/* Agreements between schemes: which one is in force on a day, and what its amounts come to in both ledgers.
 */
#include "depositd/network.h"

#include "suite.h"

enum { TERN = 1, SKUA = 2, GULL = 3, CUP_300 = 1, CUP_450 = 2 };

static const struct agreement_value both[] = {{CUP_300, {250}}, {CUP_450, {350}}};
static const struct agreement_value small[] = {{CUP_300, {300}}};

/* tern's cups at skua are agreed in skua's currency, until the third row ends it; skua's at tern in skua's as
 * well. */
static const struct agreement agreements[] = {
    {TERN, SKUA, {100}, true, {INT64_C(9876543210)}, both, 2},
    {TERN, SKUA, {130}, true, {INT64_C(9876543210)}, small, 1},
    {TERN, SKUA, {140}, true, {INT64_C(1000000000000)}, NULL, 0},
    {SKUA, TERN, {120}, false, {INT64_C(10000000000)}, both, 2},
};

static const struct network *network(void)
{
    static struct scheme tern = {.id = TERN, .code = "tern-bay"}, skua = {.id = SKUA, .code = "skua-head"};
    static const struct scheme *by_id[] = {NULL, &tern, &skua};
    static struct network made;
    tern.currency = currency_find("CAD");
    skua.currency = currency_find("ISK");
    made = (struct network){.agreements = agreements,
                            .agreement_count = sizeof agreements / sizeof agreements[0],
                            .scheme_by_id = by_id,
                            .scheme_ids = 3};
    return &made;
}

static const struct {
    int32_t home, host, day;
    int row; /* of the table above; -1: none */
} days[] = {
    {TERN, SKUA, 99, -1}, {TERN, SKUA, 100, 0},  {TERN, SKUA, 129, 0},       {TERN, SKUA, 130, 1},
    {TERN, SKUA, 139, 1}, {TERN, SKUA, 140, 2},  {TERN, SKUA, INT32_MAX, 2}, {SKUA, TERN, 119, -1},
    {SKUA, TERN, 120, 3}, {TERN, GULL, 200, -1}, {GULL, TERN, 200, -1},      {TERN, TERN, 200, -1},
};

START_TEST(the_last_row_of_the_pair_that_has_begun_is_in_force)
{
    const struct agreement *found =
        network_agreement(network(), days[_i].home, days[_i].host, (struct date){days[_i].day});
    ck_assert_ptr_eq(found, days[_i].row < 0 ? NULL : &agreements[days[_i].row]);
}
END_TEST

START_TEST(a_type_without_a_value_is_not_agreed)
{
    struct money value = {4711};
    ck_assert(agreement_value_of(&agreements[0], CUP_450, &value));
    ck_assert_int_eq(value.minor, 350);
    ck_assert(!agreement_value_of(&agreements[1], CUP_450, &value));
    ck_assert(!agreement_value_of(&agreements[2], CUP_300, &value));
    ck_assert(!agreement_value_of(NULL, CUP_300, &value));
    ck_assert_int_eq(value.minor, 350);
}
END_TEST

/* 250 ISK at 0.00987654321 CAD are 2.4691358025 CAD, by hand: 2.47. The rate of the other direction is of the
 * same two currencies, the other way about: it is the agreed currency's in both. */
START_TEST(each_ledger_books_in_its_own_currency)
{
    struct money booked;
    ck_assert(agreement_in_books(network(), &agreements[0], SKUA, (struct money){250}, &booked));
    ck_assert_int_eq(booked.minor, 250);
    ck_assert(agreement_in_books(network(), &agreements[0], TERN, (struct money){250}, &booked));
    ck_assert_int_eq(booked.minor, 247);
    ck_assert(agreement_in_books(network(), &agreements[3], SKUA, (struct money){250}, &booked));
    ck_assert_int_eq(booked.minor, 250);
    ck_assert(agreement_in_books(network(), &agreements[3], TERN, (struct money){250}, &booked));
    ck_assert_int_eq(booked.minor, 250);
    ck_assert(!agreement_in_books(network(), &agreements[2], TERN, (struct money){INT64_MAX}, &booked));
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("network");
    TCase *tests = tcase_create("network");
    tcase_add_loop_test(tests, the_last_row_of_the_pair_that_has_begun_is_in_force, 0,
                        (int)(sizeof days / sizeof days[0]));
    tcase_add_test(tests, a_type_without_a_value_is_not_agreed);
    tcase_add_test(tests, each_ledger_books_in_its_own_currency);
    suite_add_tcase(suite, tests);
    return suite;
}
