/* SPDX-License-Identifier: ISC */
/* Netting: every solution is checked to reproduce the positions, and the number of payments against published
 * examples, exhaustive search, a general-purpose solver (GLPK) and instances whose optimum is known by
 * design.
 *
 * k non-zero positions need k - z payments, z being the most disjoint zero-sum groups: T. Verhoeff, "Settling
 * Multiple Debts Efficiently", Informatics in Education 3(1), 2004. Random cases follow from the seed
 * that is printed; TEST_SEED in the environment sets another. */
#include "depositd/netting.h"

#include "suite.h"

#include <glpk.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PLACES_MAX = 64, MANY = 10000 };

static unsigned seed = 20260512;

static struct money *as_money(const int64_t *positions, size_t count)
{
    struct money *money = calloc(count + 1, sizeof *money);
    ck_assert_ptr_nonnull(money);
    for (size_t i = 0; i < count; i++)
        money[i].minor = positions[i];
    return money;
}

/* The rules for every solution: the payments are in order; each is positive; nobody both pays and receives;
 * nobody pays more than is owed or gets more than is due; and nothing is left over, so that the payments
 * reproduce the positions. */
static void check_payments(const int64_t *positions, size_t count, const struct netting_payment *payments,
                           size_t payment_count)
{
    int64_t *left = malloc((count + 1) * sizeof *left);
    ck_assert_ptr_nonnull(left);
    memcpy(left, positions, count * sizeof *left);
    for (size_t i = 0; i < payment_count; i++) {
        const struct netting_payment *payment = &payments[i];
        ck_assert(payment->from < count && payment->to < count);
        ck_assert_int_gt(payment->amount.minor, 0);
        ck_assert(positions[payment->from] > 0 && positions[payment->to] < 0);
        ck_assert_int_ge(left[payment->from] -= payment->amount.minor, 0);
        ck_assert_int_le(left[payment->to] += payment->amount.minor, 0);
        if (i > 0)
            ck_assert(payment[-1].from < payment->from ||
                      (payment[-1].from == payment->from && payment[-1].to < payment->to));
    }
    for (size_t i = 0; i < count; i++)
        ck_assert_int_eq(left[i], 0);
    free(left);
}

/* Solves, checks, and returns the number of payments. A second run must give the same. There is room for
 * count - 1 payments and no more. */
static size_t solve(const int64_t *positions, size_t count)
{
    struct money *money = as_money(positions, count);
    size_t room = count > 1 ? count - 1 : 0, payment_count = SIZE_MAX, again_count = SIZE_MAX;
    struct netting_payment *payments = malloc(room * sizeof *payments), *again = malloc(room * sizeof *again);
    ck_assert_int_eq(netting_solve(money, count, payments, &payment_count), NETTING_OK);
    ck_assert_uint_le(payment_count, room);
    check_payments(positions, count, payments, payment_count);

    ck_assert_int_eq(netting_solve(money, count, again, &again_count), NETTING_OK);
    ck_assert_uint_eq(again_count, payment_count);
    for (size_t i = 0; i < payment_count; i++)
        ck_assert(again[i].from == payments[i].from && again[i].to == payments[i].to &&
                  again[i].amount.minor == payments[i].amount.minor);
    free(again);
    free(payments);
    free(money);
    return payment_count;
}

static enum netting_result result_of(const int64_t *positions, size_t count)
{
    struct money *money = as_money(positions, count);
    struct netting_payment payments[PLACES_MAX];
    size_t payment_count;
    enum netting_result result = netting_solve(money, count, payments, &payment_count);
    free(money);
    return result;
}

/* Uniform in -range .. range without zero. */
static int64_t random_amount(unsigned *state, int64_t range)
{
    int64_t amount = (int64_t)rand_r(state) * RAND_MAX + rand_r(state);
    amount = amount % (2 * range) - range;
    return amount >= 0 ? amount + 1 : amount;
}

static void random_positions(unsigned *state, int64_t range, int64_t *positions, size_t count)
{
    int64_t sum = 0;
    for (size_t i = 0; i + 1 < count; i++) {
        positions[i] = random_amount(state, range);
        if (llabs(sum + positions[i]) > 2 * range) /* keeps the last one of their size */
            positions[i] = -positions[i];
        sum += positions[i];
    }
    positions[count - 1] = -sum;
}

static void shuffle(unsigned *state, int64_t *positions, size_t count)
{
    for (size_t i = count; i > 1; i--) {
        size_t j = (size_t)rand_r(state) % i;
        int64_t swap = positions[i - 1];
        positions[i - 1] = positions[j];
        positions[j] = swap;
    }
}

/* The most zero-sum groups of the positions in `mask`, found naively: the lowest position is put into a group
 * with each possible set of others. */
static size_t most_groups(const int64_t *positions, unsigned mask)
{
    if (mask == 0)
        return 0;
    const unsigned lowest = mask & -mask, others = mask ^ lowest;
    size_t most = 0;
    for (unsigned company = others;; company = (company - 1) & others) {
        int64_t sum = 0;
        for (unsigned group = lowest | company; group != 0; group &= group - 1)
            sum += positions[__builtin_ctz(group)];
        if (sum == 0) {
            size_t groups = 1 + most_groups(positions, others ^ company);
            most = groups > most ? groups : most;
        }
        if (company == 0)
            return most;
    }
}

static size_t fewest_by_search(const int64_t *positions, size_t count)
{
    unsigned mask = 0;
    for (size_t i = 0; i < count; i++)
        mask |= (unsigned)(positions[i] != 0) << i;
    return (size_t)__builtin_popcount(mask) - most_groups(positions, mask);
}

/* Goes through every multiset of up to seven positions from -7 to 7 that begins with the given ones. */
static void check_multisets(int64_t *positions, size_t count, int64_t lowest, int64_t sum, size_t *checked)
{
    if (sum == 0) {
        ck_assert_uint_eq(solve(positions, count), fewest_by_search(positions, count));
        ++*checked;
    }
    for (int64_t next = lowest; count < 7 && next <= 7; next++) {
        positions[count] = next;
        check_multisets(positions, count + 1, next, sum + next, checked);
    }
}

/* The number of multisets was found in another way: as a coefficient of a product of power series. */
START_TEST(every_small_case_against_exhaustive_search)
{
    int64_t positions[PLACES_MAX] = {0};
    size_t checked = 0;
    check_multisets(positions, 0, -7, 0, &checked);
    ck_assert_uint_eq(checked, 5194);
}
END_TEST

START_TEST(random_cases_against_exhaustive_search)
{
    unsigned state = seed;
    for (unsigned i = 0; i < 400; i++) {
        int64_t positions[PLACES_MAX];
        size_t count = 2 + (size_t)rand_r(&state) % 9;
        random_positions(&state, 3 + rand_r(&state) % 40, positions, count);
        size_t payments = solve(positions, count);
        ck_assert_msg(payments == fewest_by_search(positions, count), "seed %u, case %u", seed, i);

        for (size_t j = 0; j < count; j++)
            positions[j] = -positions[j];
        shuffle(&state, positions, count);
        ck_assert_msg(solve(positions, count) == payments, "seed %u, case %u mirrored and shuffled", seed, i);
    }
}
END_TEST

/* The most that one may pay another: if `direct`, no more than the payer owes and the payee is due; otherwise
 * any amount. */
static int64_t most_between(const int64_t *positions, int from, int to, bool direct, int64_t total)
{
    if (from == to)
        return 0;
    if (!direct)
        return total;
    if (positions[from] <= 0 || positions[to] >= 0)
        return 0;
    return positions[from] < -positions[to] ? positions[from] : -positions[to];
}

/* The fewest payments by a mixed-integer programme that knows nothing of groups. Between any two there is a
 * flow x <= most * y, with y 0 or 1; the flows reproduce the balances; the sum of y is smallest. The columns
 * are x for each ordered pair, then y. */
static size_t fewest_by_glpk(const int64_t *positions, int count, bool direct)
{
    const int twos = count * count;
    int64_t total = 0;
    glp_prob *problem = glp_create_prob();
    glp_set_obj_dir(problem, GLP_MIN);
    glp_add_rows(problem, count + twos);
    glp_add_cols(problem, 2 * twos);
    for (int i = 0; i < count; i++) {
        total += positions[i] > 0 ? positions[i] : 0;
        glp_set_row_bnds(problem, 1 + i, GLP_FX, (double)positions[i], (double)positions[i]);
    }
    for (int two = 0; two < twos; two++) {
        const int from = two / count, to = two % count;
        const int flow = 1 + two, used = flow + twos, bound = flow + count;
        const double most = (double)most_between(positions, from, to, direct, total);
        glp_set_row_bnds(problem, bound, GLP_UP, 0, 0);
        glp_set_col_bnds(problem, flow, GLP_LO, 0, 0);
        glp_set_col_kind(problem, used, GLP_BV);
        glp_set_obj_coef(problem, used, 1);
        glp_set_mat_col(problem, used, 1, (int[]){0, bound}, (double[]){0, -most});
        if (from == to)
            glp_set_mat_col(problem, flow, 1, (int[]){0, bound}, (double[]){0, 1});
        else
            glp_set_mat_col(problem, flow, 3, (int[]){0, 1 + from, 1 + to, bound}, (double[]){0, 1, -1, 1});
    }
    glp_iocp options;
    glp_init_iocp(&options);
    options.presolve = GLP_ON;
    ck_assert_int_eq(glp_intopt(problem, &options), 0);
    ck_assert_int_eq(glp_mip_status(problem), GLP_OPT);
    double fewest = glp_mip_obj_val(problem);
    glp_delete_prob(problem);
    return (size_t)(fewest + 0.5);
}

static void check_against_glpk(unsigned *state, int count, int64_t range, bool direct)
{
    int64_t positions[PLACES_MAX];
    random_positions(state, range, positions, (size_t)count);
    const size_t fewest = fewest_by_glpk(positions, count, direct);
    ck_assert_msg(solve(positions, (size_t)count) == fewest, "seed %u, %d up to %jd", seed, count,
                  (intmax_t)range);
}

/* For small cases, which are soon solved, the test also checks that paying through third parties saves
 * nothing. */
START_TEST(random_cases_against_glpk)
{
    unsigned state = seed;
    glp_term_out(GLP_OFF);
    for (int i = 0; i < 30; i++)
        check_against_glpk(&state, 3 + i % 4, 5 + i, false);
    for (int i = 0; i < 30; i++)
        check_against_glpk(&state, 7 + i % 4, 9 + 3 * i, true);
    glp_free_env();
}
END_TEST

/* Worked question on a public question-and-answer page (askfilo.com, four subsidiaries, USD million): the
 * matrix as published; its results were not seen, those here are computed. */
START_TEST(published_four_subsidiaries)
{
    static const int64_t owes[4][4] = {
        {0, 250, 50, 250}, {300, 0, 150, 300}, {270, 230, 0, 400}, {600, 500, 300, 0}};
    int64_t positions[4] = {0};
    for (size_t i = 0; i < 4; i++)
        for (size_t j = 0; j < 4; j++) {
            positions[i] += owes[i][j];
            positions[j] -= owes[i][j];
        }
    const int64_t expected[4] = {-620, -230, 400, 450};
    ck_assert_mem_eq(positions, expected, sizeof expected);
    ck_assert_uint_eq(solve(positions, 4), 3);
}
END_TEST

/* Tuition sheet on scribd.com (document 495700079), figures and result as published there: three companies in
 * the UK, France and South Africa; the UK pays France 632,517 and South Africa pays France 208,483 (USD). */
START_TEST(published_three_companies)
{
    enum { UK, FR, SA };
    const struct money positions[] = {[UK] = {195886 + 545455 - 108824},
                                      [FR] = {130591 - 545455 - 426136},
                                      [SA] = {108824 + 426136 - 195886 - 130591}};
    struct netting_payment payments[2];
    size_t count;
    ck_assert_int_eq(netting_solve(positions, 3, payments, &count), NETTING_OK);
    ck_assert_uint_eq(count, 2);
    ck_assert(payments[0].from == UK && payments[0].to == FR && payments[0].amount.minor == 632517);
    ck_assert(payments[1].from == SA && payments[1].to == FR && payments[1].amount.minor == 208483);
}
END_TEST

/* Net positions of an ACCA AFM style question (March/June 2024) as cited in a public study file, in tenths of
 * EUR million: only that they sum to zero is published. No two cancel, so three payments (computed). */
START_TEST(published_net_positions)
{
    static const int64_t positions[] = {-146, 1470, 824, -2148};
    ck_assert_uint_eq(solve(positions, 4), 3);
    ck_assert_int_eq(result_of(positions, 3), NETTING_NOT_BALANCED);
}
END_TEST

/* Our own instances, optimum by exhaustive search; in the last two, the greedy method that takes the largest
 * first needs one payment more. The triples "0 owes 1 10, 2 owes 0 5" and "0-1 10, 1-0 1, 1-2 5, 2-0 5" are a
 * common exercise (from memory). */
START_TEST(small_instances)
{
    static const struct {
        size_t count, payments;
        int64_t positions[8];
    } instances[] = {
        {0, 0, {0}},
        {1, 0, {0}},
        {3, 0, {0}},
        {3, 1, {-5, 5, 0}},
        {3, 2, {10 - 5, -10, 5}},
        {3, 1, {10 - 1 - 5, -10 + 1 + 5, -5 + 5}},
        {5, 4, {4, 4, -3, -3, -2}},
        {5, 3, {5, 5, -2, -3, -5}},
        {5, 3, {20, 15, -5, -10, -20}},
        {6, 4, {8, 7, -3, -5, -2, -5}},
        {6, 4, {6, 5, 4, -7, -5, -3}},
        {8, 6, {3, 1, 1, 2, 2, 1, -5, -5}},
        {5, 3, {4, 3, -2, -2, -3}},
        {6, 4, {5, 4, 1, -3, -3, -4}},
    };
    for (size_t i = 0; i < sizeof instances / sizeof *instances; i++)
        ck_assert_msg(solve(instances[i].positions, instances[i].count) == instances[i].payments,
                      "instance %zu", i);
}
END_TEST

START_TEST(unbalanced_or_overflowing_is_refused)
{
    static const struct {
        size_t count;
        int64_t positions[4];
    } refused[] = {
        {1, {1}},
        {3, {5, -4, -2}},
        {1, {INT64_MIN}},
        {2, {INT64_MIN, INT64_MIN}},
        {2, {INT64_MIN, INT64_MAX}},
        {3, {INT64_MIN, INT64_MAX, 1}}, /* balanced, but the total owed is no amount */
        {4, {INT64_MAX, -INT64_MAX, INT64_MAX, -INT64_MAX}},
        {4, {INT64_MAX, 1, INT64_MAX, 1}}, /* zero modulo 2^64 */
    };
    for (size_t i = 0; i < sizeof refused / sizeof *refused; i++)
        ck_assert_msg(result_of(refused[i].positions, refused[i].count) == NETTING_NOT_BALANCED, "case %zu",
                      i);
}
END_TEST

START_TEST(largest_amounts)
{
    ck_assert_uint_eq(solve((int64_t[]){-INT64_MAX, INT64_MAX}, 2), 1);
    ck_assert_uint_eq(solve((int64_t[]){INT64_MAX - 3, -INT64_MAX, 1, 2}, 4), 3);
    ck_assert_uint_eq(solve((int64_t[]){-1, -INT64_MAX / 2, INT64_MAX, -INT64_MAX / 2}, 4), 3);
}
END_TEST

/* Appends a group of `size` (2 or more) that cannot be split: 1, 2, 4 .. and minus their sum, in units of
 * 2^*shift. Any sum over groups made one after the other is a numeral whose digits are the groups' own sums,
 * each less than half of its base: it is zero only if each group's is, so no group mixes with another. */
static size_t append_group(int64_t *positions, size_t count, unsigned size, unsigned *shift)
{
    for (unsigned i = 0; i + 1 < size; i++)
        positions[count + i] = INT64_C(1) << (*shift + i);
    positions[count + size - 1] = (INT64_C(1) << *shift) - (INT64_C(1) << (*shift + size - 1));
    *shift += size;
    return count + size;
}

/* The optimum is known by design: positions less groups. Even 50 positions are solved exactly if 30 of them
 * pair off. */
START_TEST(exact_up_to_twenty_unpaired)
{
    static const unsigned sizes[][10] = {
        {20},
        {10, 10},
        {3, 17},
        {5, 5, 5, 5},
        {4, 4, 4, 4, 4},
        {2, 3, 4, 5, 6},
        {7, 6, 7},
        {3, 3, 3, 3, 8},
        {11, 3, 3, 3},
        {3, 3, 3, 3, 3, 5},
        {2, 9, 9},
        {2, 2, 2, 2, 2, 2, 2, 2, 2, 2},
    };
    unsigned state = seed;
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
        int64_t positions[PLACES_MAX] = {0};
        size_t count = 0, groups = 0;
        unsigned shift = 0;
        for (; groups < 10 && sizes[i][groups] != 0; groups++)
            count = append_group(positions, count, sizes[i][groups], &shift);
        ck_assert_uint_eq(count, NETTING_EXACT_MAX);
        shuffle(&state, positions, count);
        ck_assert_msg(solve(positions, count) == count - groups, "sizes %zu, seed %u", i, seed);

        for (unsigned pairs = 0; pairs < 15; pairs++, groups++)
            count = append_group(positions, count, 2, &shift);
        shuffle(&state, positions, count + 5); /* and five zeros */
        ck_assert_msg(solve(positions, count + 5) == count - groups, "sizes %zu paired, seed %u", i, seed);
    }
}
END_TEST

/* With more positions the optimum is still known by design. All groups of up to ten are found here; that is
 * not promised in general. */
START_TEST(small_groups_are_found_beyond_twenty)
{
    static const struct {
        unsigned size, groups;
    } cases[] = {{3, 20}, {4, 15}, {5, 12}, {6, 10}, {7, 8}, {8, 7}, {9, 6}, {10, 6}};
    unsigned state = seed;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        int64_t positions[PLACES_MAX];
        size_t count = 0;
        unsigned shift = 0;
        for (unsigned j = 0; j < cases[i].groups; j++)
            count = append_group(positions, count, cases[i].size, &shift);
        shuffle(&state, positions, count);
        ck_assert_msg(solve(positions, count) == count - cases[i].groups, "groups of %u", cases[i].size);
    }
}
END_TEST

/* The solution is valid, as solve() checks, and has at least one payment for two positions. If zero-sum
 * groups abound, it has at most three payments for four positions. The search does better; the bound shows if
 * it finds nothing. */
START_TEST(ten_thousand_positions)
{
    static const struct {
        int64_t range;
        size_t most;
    } cases[] = {{50, MANY * 3 / 4}, {50000, MANY * 3 / 4}, {INT64_C(100000000000), MANY - 1}};
    int64_t *positions = calloc(MANY, sizeof *positions);
    ck_assert_ptr_nonnull(positions);
    unsigned state = seed;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        random_positions(&state, cases[i].range, positions, MANY);
        size_t payments = solve(positions, MANY);
        ck_assert_uint_ge(payments, (MANY - 1) / 2);
        ck_assert_uint_le(payments, cases[i].most);
    }
    free(positions);
}
END_TEST

Suite *file_suite(void)
{
    const char *chosen = getenv("TEST_SEED");
    if (chosen != NULL)
        seed = (unsigned)strtoul(chosen, NULL, 10);
    printf("seed %u\n", seed);

    TCase *cases = tcase_create("netting");
    tcase_set_timeout(cases, 120);
    tcase_add_test(cases, published_four_subsidiaries);
    tcase_add_test(cases, published_three_companies);
    tcase_add_test(cases, published_net_positions);
    tcase_add_test(cases, small_instances);
    tcase_add_test(cases, unbalanced_or_overflowing_is_refused);
    tcase_add_test(cases, largest_amounts);
    tcase_add_test(cases, every_small_case_against_exhaustive_search);
    tcase_add_test(cases, random_cases_against_exhaustive_search);
    tcase_add_test(cases, random_cases_against_glpk);
    tcase_add_test(cases, exact_up_to_twenty_unpaired);
    tcase_add_test(cases, small_groups_are_found_beyond_twenty);
    tcase_add_test(cases, ten_thousand_positions);
    Suite *suite = suite_create("netting");
    suite_add_tcase(suite, cases);
    return suite;
}
