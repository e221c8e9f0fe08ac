/* SPDX-License-Identifier: ISC */
/* The chain ladder and Mack's standard error against two published triangles.
 *
 * 1. Taylor and Ashe (1983), Journal of Econometrics 23, 37-61, as in Table 1 of Mack (1993), ASTIN Bulletin
 * 23, 213-225: total reserve 18,680,856, standard error 2,447,095, and the errors of the rows.
 * 2. The RAA triangle, Historical Loss Development (1991), 96, with the errors of Mack (1994), 130: total
 * reserve 52,135, standard error 26,909. Figures with decimals were computed by the closed formula of the
 * paper, in other code. */
#include "depositd/estimate.h"

#include "suite.h"

enum { YEARS = 10 };

static const double taylor_ashe[YEARS][YEARS] = {
    {357848, 1124788, 1735330, 2218270, 2745596, 3319994, 3466336, 3606286, 3833515, 3901463},
    {352118, 1236139, 2170033, 3353322, 3799067, 4120063, 4647867, 4914039, 5339085},
    {290507, 1292306, 2218525, 3235179, 3985995, 4132918, 4628910, 4909315},
    {310608, 1418858, 2195047, 3757447, 4029929, 4381982, 4588268},
    {443160, 1136350, 2128333, 2897821, 3402672, 3873311},
    {396132, 1333217, 2180715, 2985752, 3691712},
    {440832, 1288463, 2419861, 3483130},
    {359480, 1421128, 2864498},
    {376686, 1363294},
    {344014},
};
static const double raa[YEARS][YEARS] = {
    {5012, 8269, 10907, 11805, 13539, 16181, 18009, 18608, 18662, 18834},
    {106, 4285, 5396, 10666, 13782, 15599, 15496, 16169, 16704},
    {3410, 8992, 13873, 16141, 18735, 22214, 22863, 23466},
    {5655, 11555, 15766, 21266, 23425, 26083, 27067},
    {1092, 9565, 15836, 22169, 25955, 26180},
    {1513, 6445, 11702, 12935, 15852},
    {557, 4020, 10946, 12314},
    {1351, 6947, 13112},
    {3133, 5395},
    {2063},
};

static const struct {
    const char *name;
    const double (*cups)[YEARS];
    double error[YEARS]; /* as published, whole numbers */
    double to_come[YEARS];
    double total, total_error;
} published[] = {
    {"Taylor and Ashe",
     taylor_ashe,
     {0, 75535, 121699, 133549, 261406, 411010, 558317, 875328, 971258, 1363155},
     {0, 94633.8145, 469511.2901, 709637.8208, 984888.6390, 1419459.4577, 2177640.6201, 3920301.0120,
      4278972.2633, 4625810.6944},
     18680856,
     2447095},
    {"RAA",
     raa,
     {0, 206, 623, 747, 1469, 2002, 2209, 5358, 6333, 24566},
     {0, 153.9539, 617.3709, 1636.1422, 2746.7363, 3649.1032, 5435.3026, 10907.1925, 10649.9841, 16339.4425},
     52135,
     26909},
};

static void fill(struct triangle *triangle, const double cups[YEARS][YEARS])
{
    *triangle = (struct triangle){.count = YEARS};
    for (size_t i = 0; i < YEARS; i++)
        for (size_t k = 0; k < YEARS - i; k++)
            triangle->back[i][k] = cups[i][k];
}

START_TEST(published_triangles)
{
    struct triangle triangle;
    struct projection projection;
    fill(&triangle, published[_i].cups);
    ck_assert_int_eq(estimate_project(&triangle, &projection), ESTIMATE_MADE);
    for (size_t i = 0; i < YEARS; i++) {
        ck_assert_double_eq_tol(projection.error[i], published[_i].error[i], 0.5);
        ck_assert_double_eq_tol(projection.to_come[i], published[_i].to_come[i], 0.001);
    }
    ck_assert_double_eq_tol(projection.total, published[_i].total, 0.5);
    ck_assert_double_eq_tol(projection.total_error, published[_i].total_error, 0.5);
}
END_TEST

/* The first factor and the first and last sigma squared of Taylor and Ashe. */
START_TEST(factors_and_variances)
{
    struct triangle triangle;
    struct projection projection;
    fill(&triangle, taylor_ashe);
    ck_assert_int_eq(estimate_project(&triangle, &projection), ESTIMATE_MADE);
    ck_assert_double_eq_tol(projection.factor[0], 3.490606548, 1e-9);
    ck_assert_double_eq_tol(projection.factor[8], 1.017724725, 1e-9);
    ck_assert_double_eq_tol(projection.variance[0], 160280.327480, 1e-6);
    ck_assert_double_eq_tol(projection.variance[7], 1147.365968, 1e-6);
    ck_assert_double_eq_tol(projection.variance[8], 446.616550, 1e-6);
}
END_TEST

/* Half of the cups are back at once and the others a period later, always: the estimate is exact. */
START_TEST(a_steady_network_has_no_error)
{
    struct triangle triangle = {.count = 6};
    struct projection projection;
    for (size_t i = 0; i < triangle.count; i++)
        for (size_t k = 0; k < triangle.count - i; k++)
            triangle.back[i][k] = (double)(100 + 10 * i) * (k == 0 ? 0.5 : 1);
    ck_assert_int_eq(estimate_project(&triangle, &projection), ESTIMATE_MADE);
    ck_assert_double_eq_tol(projection.total, 75, 1e-9);
    ck_assert_double_eq_tol(projection.total_error, 0, 1e-9);
    ck_assert_double_eq_tol(projection.ultimate[5], 150, 1e-9);
}
END_TEST

/* A period without issues takes nothing from the others, and makes no number that is none. */
START_TEST(a_period_without_cups)
{
    struct triangle triangle;
    struct projection projection;
    fill(&triangle, raa);
    for (size_t k = 0; k < 5; k++)
        triangle.back[5][k] = 0;
    ck_assert_int_eq(estimate_project(&triangle, &projection), ESTIMATE_MADE);
    ck_assert(projection.ultimate[5] == 0 && projection.error[5] == 0);
    ck_assert_double_finite(projection.total);
    ck_assert_double_finite(projection.total_error);
}
END_TEST

START_TEST(too_little_history)
{
    struct triangle triangle = {.count = TRIANGLE_MIN - 1}, none;
    struct projection projection;
    ck_assert_int_eq(estimate_project(&triangle, &projection), ESTIMATE_TOO_SHORT);
    triangle.count = TRIANGLE_MIN;
    ck_assert_int_eq(estimate_project(&triangle, &projection), ESTIMATE_TOO_THIN);
    triangle.count = TRIANGLE_MAX + 1;
    ck_assert_int_eq(estimate_project(&triangle, &projection), ESTIMATE_TOO_SHORT);
    triangle.count = TRIANGLE_MIN;
    estimate_cut(&triangle, TRIANGLE_MIN + 1, &none);
    ck_assert_uint_eq(none.count, 0);
}
END_TEST

/* Three years earlier nobody knew the last three rows, nor the last three diagonals. */
START_TEST(an_earlier_triangle)
{
    struct triangle triangle, earlier;
    fill(&triangle, raa);
    estimate_cut(&triangle, 3, &earlier);
    ck_assert_uint_eq(earlier.count, 7);
    ck_assert(earlier.back[0][6] == 18009 && earlier.back[0][7] == 0);
    ck_assert(earlier.back[6][0] == 557 && earlier.back[6][1] == 0 && earlier.back[7][0] == 0);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("estimate");
    TCase *tests = tcase_create("estimate");
    tcase_add_loop_test(tests, published_triangles, 0, sizeof published / sizeof published[0]);
    tcase_add_test(tests, factors_and_variances);
    tcase_add_test(tests, a_steady_network_has_no_error);
    tcase_add_test(tests, a_period_without_cups);
    tcase_add_test(tests, too_little_history);
    tcase_add_test(tests, an_earlier_triangle);
    suite_add_tcase(suite, tests);
    return suite;
}
