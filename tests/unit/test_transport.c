/* SPDX-License-Identifier: ISC */
/* The transportation problem: textbook problems with their optimum, random ones against a general-purpose
 * solver (GLPK), and large ones by the bound that the solution comes with. Plans are not compared: several
 * may cost the same. Random cases follow from the seed that is printed; TEST_SEED in the environment sets
 * another. */
#include "depositd/transport.h"

#include "suite.h"

#include <glpk.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>

enum { SIDE_MAX = 8 };

static unsigned seed = 20260512;

static const struct textbook {
    const char *source;
    size_t sources, sinks;
    int64_t supply[SIDE_MAX], demand[SIDE_MAX], cost[SIDE_MAX * SIDE_MAX], optimum;
} textbooks[] = {
    {"Powerco: W. L. Winston, Operations Research, transportation, example 1 (data and optimum from memory)",
     3,
     4,
     {35, 50, 40},
     {45, 20, 30, 30},
     {8, 6, 10, 9, 9, 12, 13, 7, 14, 9, 16, 5},
     1020},
    {"P & T Company: Hillier and Lieberman, Introduction to Operations Research (data and optimum from "
     "memory)",
     3,
     4,
     {75, 125, 100},
     {80, 65, 70, 85},
     {464, 513, 654, 867, 352, 416, 690, 791, 995, 682, 388, 685},
     152535},
    {"G. B. Dantzig, Linear Programming and Extensions, 1963, chapter 3-3, as in GLPK's transp.mod: costs in "
     "dollars; more is supplied than demanded",
     2,
     3,
     {350, 600},
     {325, 300, 275},
     {225, 153, 162, 225, 162, 126},
     153675},
    {"one source, one sink", 1, 1, {7}, {5}, {3}, 15},
    {"nothing is demanded", 2, 2, {7, 1}, {0, 0}, {3, 1, 4, 1}, 0},
    {"nothing is there", 0, 0, {0}, {0}, {0}, 0},
    {"a source and a sink without units", 2, 2, {0, 9}, {9, 0}, {0, 0, 5, 1}, 45},
};

/* The rules of every plan: in order, positive, all demand met, no source over its supply, and a cost that the
 * bound proves. Returns the cost. */
static int64_t check_plan(const struct transport *problem, size_t sources, size_t sinks,
                          const int64_t *supply, const int64_t *demand, const int64_t *cost)
{
    struct transport_flow *flows = calloc(sources + sinks + 1, sizeof *flows);
    int64_t *left = calloc(sources + 1, sizeof *left), *open = calloc(sinks + 1, sizeof *open), total = 0;
    ck_assert(flows != NULL && left != NULL && open != NULL);
    for (size_t i = 0; i < sources; i++)
        left[i] = supply[i];
    for (size_t i = 0; i < sinks; i++)
        open[i] = demand[i];
    size_t count = transport_flows(problem, flows);
    for (size_t i = 0; i < count; i++) {
        const struct transport_flow *flow = &flows[i];
        ck_assert(flow->source < sources && flow->sink < sinks && flow->amount > 0);
        ck_assert(i == 0 || flow[-1].source < flow->source ||
                  (flow[-1].source == flow->source && flow[-1].sink < flow->sink));
        ck_assert_int_ge(left[flow->source] -= flow->amount, 0);
        open[flow->sink] -= flow->amount;
        total += flow->amount * cost[flow->source * sinks + flow->sink];
    }
    for (size_t i = 0; i < sinks; i++)
        ck_assert_int_eq(open[i], 0);
    ck_assert_int_eq(transport_cost(problem), total);
    ck_assert_int_eq(transport_bound(problem), total);
    free(flows);
    free(left);
    free(open);
    return total;
}

static int64_t solve(size_t sources, size_t sinks, const int64_t *supply, const int64_t *demand,
                     const int64_t *cost)
{
    struct transport *problem;
    ck_assert_int_eq(transport_new(sources, sinks, supply, demand, &problem), TRANSPORT_OK);
    ck_assert_int_eq(transport_solve(problem, cost), TRANSPORT_OK);
    int64_t total = check_plan(problem, sources, sinks, supply, demand, cost);
    transport_free(problem);
    return total;
}

START_TEST(textbook_problems)
{
    const struct textbook *book = &textbooks[_i];
    ck_assert_msg(solve(book->sources, book->sinks, book->supply, book->demand, book->cost) == book->optimum,
                  "%s", book->source);
}
END_TEST

static int64_t cheapest_by_glpk(int sources, int sinks, const int64_t *supply, const int64_t *demand,
                                const int64_t *cost)
{
    glp_prob *problem = glp_create_prob();
    glp_set_obj_dir(problem, GLP_MIN);
    glp_add_rows(problem, sources + sinks);
    glp_add_cols(problem, sources * sinks);
    for (int i = 0; i < sources; i++)
        glp_set_row_bnds(problem, 1 + i, GLP_UP, 0, (double)supply[i]);
    for (int i = 0; i < sinks; i++)
        glp_set_row_bnds(problem, 1 + sources + i, GLP_FX, (double)demand[i], (double)demand[i]);
    for (int cell = 0; cell < sources * sinks; cell++) {
        glp_set_col_bnds(problem, 1 + cell, GLP_LO, 0, 0);
        glp_set_obj_coef(problem, 1 + cell, (double)cost[cell]);
        glp_set_mat_col(problem, 1 + cell, 2, (int[]){0, 1 + cell / sinks, 1 + sources + cell % sinks},
                        (double[]){0, 1, 1});
    }
    ck_assert_int_eq(glp_simplex(problem, NULL), 0);
    ck_assert_int_eq(glp_get_status(problem), GLP_OPT);
    double cheapest = glp_get_obj_val(problem);
    glp_delete_prob(problem);
    return (int64_t)(cheapest + 0.5);
}

struct random_problem {
    size_t sources, sinks;
    int64_t *supply, *demand, *cost;
};

static void random_costs(struct random_problem *made, unsigned *state, int highest)
{
    for (size_t i = 0; i < made->sources * made->sinks; i++)
        made->cost[i] = rand_r(state) % (highest + 1);
}

/* About half of what is supplied is demanded, or all of it. A small `highest` makes many plans equal, a small
 * `most` many flows zero: both are where a simplex method may go round in circles. */
static struct random_problem random_problem(unsigned *state, size_t sources, size_t sinks, int most,
                                            int highest, bool all)
{
    struct random_problem made = {.sources = sources,
                                  .sinks = sinks,
                                  .supply = calloc(sources, sizeof(int64_t)),
                                  .demand = calloc(sinks, sizeof(int64_t)),
                                  .cost = calloc(sources * sinks, sizeof(int64_t))};
    ck_assert(made.supply != NULL && made.demand != NULL && made.cost != NULL);
    int64_t total = 0;
    for (size_t i = 0; i < sources; i++)
        total += made.supply[i] = rand_r(state) % (most + 1);
    for (int64_t left = all ? total : total / 2; left > 0;) {
        int64_t part = 1 + rand_r(state) % most;
        part = part < left ? part : left;
        made.demand[(size_t)rand_r(state) % sinks] += part;
        left -= part;
    }
    random_costs(&made, state, highest);
    return made;
}

static void random_problem_free(struct random_problem *made)
{
    free(made->supply);
    free(made->demand);
    free(made->cost);
}

START_TEST(random_problems_against_glpk)
{
    unsigned state = seed;
    glp_term_out(GLP_OFF);
    for (int i = 0; i < 400; i++) {
        size_t sources = 1 + (size_t)rand_r(&state) % 12, sinks = 1 + (size_t)rand_r(&state) % 12;
        struct random_problem made =
            random_problem(&state, sources, sinks, 1 + i % 9, i % 3 == 0 ? 3 : 1000, i % 2 == 0);
        ck_assert_msg(solve(sources, sinks, made.supply, made.demand, made.cost) ==
                          cheapest_by_glpk((int)sources, (int)sinks, made.supply, made.demand, made.cost),
                      "seed %u, problem %d", seed, i);
        random_problem_free(&made);
    }
    glp_free_env();
}
END_TEST

/* Other costs for the same supply and demand: going on from the last solution ends where a new start does. */
START_TEST(solving_again_for_other_costs)
{
    unsigned state = seed;
    struct random_problem made = random_problem(&state, 40, 30, 20, 500, false);
    struct transport *problem;
    ck_assert_int_eq(transport_new(40, 30, made.supply, made.demand, &problem), TRANSPORT_OK);
    for (int i = 0; i < 50; i++) {
        random_costs(&made, &state, i % 2 == 0 ? 1000000 : 2);
        ck_assert_int_eq(transport_solve(problem, made.cost), TRANSPORT_OK);
        ck_assert_int_eq(check_plan(problem, 40, 30, made.supply, made.demand, made.cost),
                         solve(40, 30, made.supply, made.demand, made.cost));
    }
    transport_free(problem);
    random_problem_free(&made);
}
END_TEST

/* Too large for the other solver; the bound proves the optimum. */
START_TEST(large_problems_by_their_bound)
{
    unsigned state = seed;
    for (int i = 0; i < 3; i++) {
        struct random_problem made = random_problem(&state, 300, 400, i == 0 ? 2 : 200, 100000, i < 2);
        ck_assert_int_gt(solve(300, 400, made.supply, made.demand, made.cost), 0);
        random_problem_free(&made);
    }
}
END_TEST

START_TEST(refused_problems)
{
    struct transport *problem;
    const int64_t one[] = {1}, two[] = {2}, below[] = {-1}, most[] = {TRANSPORT_SUPPLY_MAX},
                  over[] = {TRANSPORT_SUPPLY_MAX + 1}, dear[] = {TRANSPORT_COST_MAX},
                  too_dear[] = {TRANSPORT_COST_MAX + 1};
    ck_assert_int_eq(transport_new(1, 1, one, two, &problem), TRANSPORT_SHORT);
    ck_assert_int_eq(transport_new(1, 1, below, below, &problem), TRANSPORT_TOO_LARGE);
    ck_assert_int_eq(transport_new(1, 1, over, one, &problem), TRANSPORT_TOO_LARGE);
    ck_assert_int_eq(transport_new(TRANSPORT_NODES_MAX + 1, 1, NULL, one, &problem), TRANSPORT_TOO_LARGE);
    ck_assert_int_eq(transport_new(2001, 2000, NULL, NULL, &problem), TRANSPORT_TOO_LARGE);
    ck_assert_ptr_null(problem);
    ck_assert_int_eq(solve(1, 1, most, most, dear), TRANSPORT_SUPPLY_MAX * TRANSPORT_COST_MAX);
    ck_assert_int_eq(transport_new(1, 1, one, one, &problem), TRANSPORT_OK);
    ck_assert_int_eq(transport_solve(problem, too_dear), TRANSPORT_TOO_LARGE);
    ck_assert_int_eq(transport_solve(problem, below), TRANSPORT_TOO_LARGE);
    transport_free(problem);
}
END_TEST

Suite *file_suite(void)
{
    const char *chosen = getenv("TEST_SEED");
    if (chosen != NULL)
        seed = (unsigned)strtoul(chosen, NULL, 10);
    printf("seed %u\n", seed);
    TCase *cases = tcase_create("transport");
    tcase_set_timeout(cases, 60);
    tcase_add_loop_test(cases, textbook_problems, 0, (int)(sizeof textbooks / sizeof textbooks[0]));
    tcase_add_test(cases, random_problems_against_glpk);
    tcase_add_test(cases, solving_again_for_other_costs);
    tcase_add_test(cases, large_problems_by_their_bound);
    tcase_add_test(cases, refused_problems);
    Suite *suite = suite_create("transport");
    suite_add_tcase(suite, cases);
    return suite;
}
