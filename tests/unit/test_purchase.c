/* SPDX-License-Identifier: ISC */
/* Purchases: a network worked out by hand, and published examples of each law that it rests on. */
#include "depositd/purchase.h"

#include "suite.h"

static const struct date monday = {20000 - 20000 % 7 + 4}; /* 1970-01-05 was a Monday, and day 4 */

/* Five days with 8 cups and two with 15: mean 10 and, over four weeks, sd sqrt(280 / 27) = 3.2203. */
static const double week[WEEKDAYS] = {8, 8, 8, 8, 8, 15, 15};

static struct daily_demand of_weeks(size_t weeks)
{
    double cups[20 * WEEKDAYS];
    for (size_t day = 0; day < weeks * WEEKDAYS; day++)
        cups[day] = week[day % WEEKDAYS];
    return purchase_demand(cups, weeks * WEEKDAYS, monday);
}

START_TEST(demand_by_hand)
{
    struct daily_demand demand = of_weeks(4);
    ck_assert_uint_eq(demand.days, 28);
    ck_assert_double_eq_tol(demand.mean, 10, 1e-12);
    ck_assert_double_eq_tol(demand.sd, 3.2203, 5e-5);
    ck_assert_uint_eq(demand.peak_weekday, 5); /* Saturday comes before Sunday */
    ck_assert_double_eq_tol(demand.peak, 15, 1e-12);
    demand = purchase_demand(week + 6, 1, (struct date){monday.days + 6});
    ck_assert_double_eq_tol(demand.sd, 0, 1e-12);
    ck_assert_uint_eq(demand.peak_weekday, 6);
    /* Before 1970 as well: 1969-12-29 was a Monday. */
    ck_assert_uint_eq(purchase_demand(week + 6, 1, (struct date){-3}).peak_weekday, 0);
}
END_TEST

/* The standard deviation of a sample against NIST's certified values (Statistical Reference Datasets,
 * univariate, "NumAcc1": 10000001, 10000003, 10000002; mean 10000002, sd 1; from memory). */
START_TEST(standard_deviation_of_nist)
{
    static const double numacc1[] = {10000001, 10000003, 10000002};
    struct daily_demand demand = purchase_demand(numacc1, 3, monday);
    ck_assert_double_eq_tol(demand.mean, 10000002, 1e-6);
    ck_assert_double_eq_tol(demand.sd, 1, 1e-9);
}
END_TEST

/* S. Nahmias, "Production and Operations Analysis", the example of a newsstand: demand of mean 11.73 and
 * standard deviation 4.74, critical ratio 0.50 / 0.65 = 0.77, quantity 15.24 (from memory). Whole cups
 * are 16. And quantiles of the normal distribution from handbook tables: 1.6449 at 0.95, 2.0537 at
 * 0.98, 2.3263 at 0.99. With mean 0 and sd 10000 the stock is the quantile itself. */
START_TEST(base_stock_of_handbooks)
{
    static const struct {
        int32_t level_ppm;
        unsigned days;
        double mean, sd;
        int64_t stock;
    } cases[] = {{769231, 1, 11.73, 4.74, 16},   {950000, 1, 0, 10000, 16449}, {980000, 1, 0, 10000, 20538},
                 {990000, 1, 0, 10000, 23264},   {500000, 1, 12, 5, 12},       {950000, 4, 0, 10000, 32898},
                 {950000, 4, 100, 10000, 33298}, {500000, 1, 0, 0, 0}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct daily_demand demand = {.days = 28, .mean = cases[i].mean, .sd = cases[i].sd};
        struct purchase_terms terms = {.service_level = {cases[i].level_ppm}, .stock_days = cases[i].days};
        ck_assert_int_eq(purchase_par(&demand, &terms), cases[i].stock);
    }
}
END_TEST

/* J. D. C. Little and S. C. Graves, "Little's Law", chapter 5 of "Building Intuition" (Springer, 2008): a
 * wine rack with 160 bottles on average, to which 8 come per month, keeps each for 20 months. */
START_TEST(littles_law_of_the_wine_rack)
{
    struct purchase_facts facts = {.demand = 8, .time_out = 20, .with_customers = 160};
    struct purchase_terms terms = {.service_level = {500000}, .stock_days = 1, .horizon_days = 1};
    struct purchase made = purchase_make(&facts, &terms);
    ck_assert_int_eq(made.out, 160);
    ck_assert_int_eq(made.out_counted, 160);
    ck_assert_int_eq(made.quantity, 0);
    ck_assert_int_eq(made.surplus, 0);
}
END_TEST

/* Demand 10, out for 3 days, a tenth more within 90 days, 0.02 lost per issue. Par: 1.1 * (10 + 1.6449 *
 * 3.2203) = 16.83. Out: 11 * 3 = 33. Wash: 11. Losses: (10 + 11) / 2 * 90 * 0.02 = 18.9. With 4 on the road
 * that is 17 + 33 + 11 + 19 + 4 = 84. In service: 20 at sites, 4 on the road, and of 40 with customers the 30
 * that 3 days explain. */
START_TEST(a_purchase_by_hand)
{
    struct daily_demand demand = of_weeks(4);
    struct purchase_terms terms = {
        .service_level = {950000}, .stock_days = 1, .wash_days = 1, .horizon_days = 90, .growth_ppm = 100000};
    struct purchase_facts facts = {.demand = demand.mean,
                                   .time_out = 3,
                                   .loss_rate = 0.02,
                                   .par = purchase_par(&demand, &terms),
                                   .at_sites = 20,
                                   .on_road = 4,
                                   .with_customers = 40};
    struct purchase made = purchase_make(&facts, &terms);
    ck_assert_int_eq(made.par, 17);
    ck_assert_int_eq(made.out, 33);
    ck_assert_int_eq(made.wash, 11);
    ck_assert_int_eq(made.losses, 19);
    ck_assert_int_eq(made.needed, 84);
    ck_assert_int_eq(made.out_counted, 30);
    ck_assert_int_eq(made.in_service, 54);
    ck_assert_int_eq(made.quantity, 30);
    ck_assert_int_eq(made.surplus, 0);
    facts.counts_all_out = true; /* 40 are out */
    ck_assert_int_eq(purchase_make(&facts, &terms).quantity, 20);
    facts.at_sites = 100;
    made = purchase_make(&facts, &terms);
    ck_assert_int_eq(made.quantity, 0);
    ck_assert_int_eq(made.surplus, 60);
}
END_TEST

/* More was returned than issued, and the book is below zero: nothing counts as out. */
START_TEST(a_negative_book_counts_for_nothing)
{
    struct purchase_facts facts = {.demand = 1, .time_out = 1, .with_customers = -5, .counts_all_out = true};
    struct purchase_terms terms = {.service_level = {500000}, .stock_days = 1, .horizon_days = 1};
    ck_assert_int_eq(purchase_make(&facts, &terms).out_counted, 0);
}
END_TEST

/* 100 more are out after 42 days. Demand rose from 10 to 14, and each cup is out for 5 days: 20 of them are
 * no loss. So 80 in 42 days, and 160 in 84. */
START_TEST(never_returned_by_hand)
{
    struct purchase_change change = {
        .more_out = 100, .demand_then = 10, .demand_now = 14, .time_out = 5, .days = 42, .of_days = 84};
    ck_assert_int_eq(purchase_never_returned(&change), 160);
    change.more_out = 10; /* fewer than demand explains */
    ck_assert_int_eq(purchase_never_returned(&change), 0);
}
END_TEST

START_TEST(losses_by_hand)
{
    struct purchase_losses losses = {.damaged = 12, .missing = -2, .forfeited = 5, .never_returned = 25};
    ck_assert_int_eq(purchase_lost(&losses), 40);
    ck_assert_double_eq_tol(purchase_loss_rate(40, 1000), 0.04, 1e-12);
    ck_assert_double_eq_tol(purchase_loss_rate(2000, 1000), 1, 1e-12);
    losses = (struct purchase_losses){.missing = -7, .damaged = 3};
    ck_assert_int_eq(purchase_lost(&losses), 0);
}
END_TEST

/* Mean uses of a geometric distribution, 1 / (1 - r): 10, 20, 25, 50 and 100 for returns of 0.90, 0.95, 0.96,
 * 0.98 and 0.99 (elementary mathematics). */
START_TEST(uses_are_geometric)
{
    static const double lost[] = {0.10, 0.05, 0.04, 0.02, 0.01}, uses[] = {10, 20, 25, 50, 100};
    for (size_t i = 0; i < 5; i++)
        ck_assert_double_eq_tol(purchase_uses(lost[i]), uses[i], 1e-9);
}
END_TEST

/* A cup of 1.80 against disposable ones of 0.15, of which 0.05 go into each wash: 1.80 / 0.10 = 18 uses, and
 * 1.81 needs 19. 48 g against 11.5 g: 4.17, so 5. */
START_TEST(break_even_by_hand)
{
    ck_assert_int_eq(purchase_uses_to_pay((struct money){180}, (struct money){5}, (struct money){15}), 18);
    ck_assert_int_eq(purchase_uses_to_pay((struct money){181}, (struct money){5}, (struct money){15}), 19);
    ck_assert_int_eq(purchase_uses_to_pay((struct money){180}, (struct money){15}, (struct money){15}), 0);
    ck_assert_int_eq(purchase_uses_to_weigh(48, (struct decimal){115, 1}), 5);
    ck_assert_int_eq(purchase_uses_to_weigh(48, (struct decimal){12, 0}), 4);
    ck_assert_int_eq(purchase_uses_to_weigh(100000, (struct decimal){1, 6}), 100000000000);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("purchase");
    TCase *cases = tcase_create("purchase");
    tcase_add_test(cases, demand_by_hand);
    tcase_add_test(cases, standard_deviation_of_nist);
    tcase_add_test(cases, base_stock_of_handbooks);
    tcase_add_test(cases, littles_law_of_the_wine_rack);
    tcase_add_test(cases, a_purchase_by_hand);
    tcase_add_test(cases, a_negative_book_counts_for_nothing);
    tcase_add_test(cases, never_returned_by_hand);
    tcase_add_test(cases, losses_by_hand);
    tcase_add_test(cases, uses_are_geometric);
    tcase_add_test(cases, break_even_by_hand);
    suite_add_tcase(suite, cases);
    return suite;
}
