/* SPDX-License-Identifier: ISC */
/* Netting in three steps: equal and opposite positions are paired off; while more than NETTING_EXACT_MAX
 * remain, the smallest zero-sum groups are sought and taken out; the rest is split into the most zero-sum
 * groups by dynamic programming over its subsets. g members of a group need at most g - 1 payments.
 *
 * Pairing loses nothing: some best partition into zero-sum groups has a and -a as a group of their own. Take
 * any best one. If they share a group, moving them out leaves a rest that sums to zero: no fewer groups. If
 * they are in two groups, {a, -a} and the union of the two rests, which also sums to zero, are two groups
 * again. Repeat with the rest. So with up to NETTING_EXACT_MAX left over, the result is the optimum. */
#include "depositd/netting.h"

#include <assert.h>
#include <stdlib.h>

enum { GROUP_MAX = 10, PASSES_MAX = 4 };

/* Groups of each size are sought among that many positions nearest to zero, where they are likeliest; when a
 * pass found some, others move up for the next. A pass takes about C(limit, size - 1) steps: 5 * 10^7 for
 * triples, 10^7 for each larger size. */
static const size_t sought_among[GROUP_MAX + 1] = {
    [3] = 10000, [4] = 400, [5] = 125, [6] = 66, [7] = 46, [8] = 37, [9] = 32, [10] = 29,
};

struct node {
    int64_t minor; /* the part of the position that no payment clears yet */
    uint32_t index;
};

struct solver {
    struct node *nodes; /* not zero, ascending */
    size_t node_count;
    struct netting_payment *payments;
    size_t payment_count;
};

/* The sum of all debts must be an amount. Then the sum of any of the positions is one as well, in whichever
 * order they are added, and INT64_MIN is not among them: no sum or negation below overflows. */
static bool balanced(const struct money *positions, size_t count)
{
    struct money owed = {0}, due = {0}, sum;
    for (size_t i = 0; i < count; i++) {
        struct money *side = positions[i].minor > 0 ? &owed : &due;
        if (!money_add(*side, positions[i], side))
            return false;
    }
    return money_add(owed, due, &sum) && sum.minor == 0;
}

static int by_amount(const void *left, const void *right)
{
    const struct node *a = left, *b = right;
    if (a->minor != b->minor)
        return a->minor < b->minor ? -1 : 1;
    return a->index < b->index ? -1 : 1;
}

static int by_from_to(const void *left, const void *right)
{
    const struct netting_payment *a = left, *b = right;
    if (a->from != b->from)
        return a->from < b->from ? -1 : 1;
    return a->to < b->to ? -1 : 1;
}

/* Clears a zero-sum group. Each payment brings one of its two to zero and the last one both. */
static void settle(struct solver *solver, struct node *group, size_t count)
{
    for (size_t from = 0, to = 0;;) {
        while (from < count && group[from].minor <= 0)
            from++;
        while (to < count && group[to].minor >= 0)
            to++;
        if (from == count || to == count) {
            assert(from == to);
            return;
        }
        int64_t owed = group[from].minor, due = -group[to].minor;
        struct money amount = {owed < due ? owed : due};
        solver->payments[solver->payment_count++] =
            (struct netting_payment){.from = group[from].index, .to = group[to].index, .amount = amount};
        group[from].minor -= amount.minor;
        group[to].minor += amount.minor;
    }
}

/* Settles some of the nodes, and leaves zeros in their place. */
static void settle_chosen(struct solver *solver, const size_t *chosen, size_t count)
{
    struct node group[GROUP_MAX];
    for (size_t i = 0; i < count; i++) {
        group[i] = solver->nodes[chosen[i]];
        solver->nodes[chosen[i]].minor = 0;
    }
    settle(solver, group, count);
}

static void drop_zeros(struct solver *solver)
{
    size_t kept = 0;
    for (size_t i = 0; i < solver->node_count; i++)
        if (solver->nodes[i].minor != 0)
            solver->nodes[kept++] = solver->nodes[i];
    solver->node_count = kept;
}

static void settle_pairs(struct solver *solver)
{
    const struct node *nodes = solver->nodes;
    for (size_t low = 0, high = solver->node_count; low + 1 < high;) {
        int64_t sum = nodes[low].minor + nodes[high - 1].minor;
        if (sum == 0)
            settle_chosen(solver, (size_t[]){low++, --high}, 2);
        else if (sum < 0)
            low++;
        else
            high--;
    }
    drop_zeros(solver);
}

/* Chooses `size` nodes of first .. end - 1 that bring `sum` to zero. */
static bool find_group(const struct node *nodes, size_t first, size_t end, int64_t sum, size_t size,
                       size_t *chosen)
{
    if (size == 2) {
        for (size_t low = first, high = end; low + 1 < high;) {
            int64_t total = sum + nodes[low].minor + nodes[high - 1].minor;
            if (total == 0) {
                chosen[0] = low;
                chosen[1] = high - 1;
                return true;
            }
            if (total < 0)
                low++;
            else
                high--;
        }
        return false;
    }
    for (size_t i = first; i < end; i++) {
        int64_t next = sum + nodes[i].minor;
        if (next > 0)
            return false; /* node i is positive then, and only larger ones follow */
        chosen[0] = i;
        if (find_group(nodes, i + 1, end, next, size - 1, chosen + 1))
            return true;
    }
    return false;
}

/* One pass: takes out groups by their most negative member, until the rest can be split exactly. True: it
 * found some and did not look at all positions, so that another pass may find more. */
static bool settle_groups(struct solver *solver, size_t size)
{
    const struct node *nodes = solver->nodes;
    size_t first = 0, end = solver->node_count;
    bool found = false, partial = end > sought_among[size];
    while (end - first > sought_among[size])
        if (-nodes[first].minor > nodes[end - 1].minor)
            first++;
        else
            end--;
    while (first < end && nodes[first].minor < 0 && solver->node_count > NETTING_EXACT_MAX) {
        size_t chosen[GROUP_MAX] = {first};
        if (find_group(nodes, first + 1, end, nodes[first].minor, size - 1, chosen + 1)) {
            settle_chosen(solver, chosen, size);
            drop_zeros(solver);
            end -= size;
            found = true;
        } else {
            first++;
        }
    }
    return found && partial;
}

/* most[mask]: into how many zero-sum groups the nodes in `mask` can be split, leaving over any that cannot.
 * It is the most zero sums met, all of them included, as nodes are removed one by one in the best order. */
static void count_groups(const struct node *nodes, size_t count, uint8_t *most)
{
    int64_t below[NETTING_EXACT_MAX + 1] = {0}; /* the sum of the nodes before each */
    for (size_t i = 0; i < count; i++)
        below[i + 1] = below[i] + nodes[i].minor;

    int64_t sum = 0;
    most[0] = 0;
    for (uint32_t mask = 1; mask < UINT32_C(1) << count; mask++) {
        int carry = __builtin_ctz(mask); /* from mask - 1: the ones below go out, this one comes in */
        sum = sum - below[carry] + nodes[carry].minor;
        uint8_t groups = 0;
        for (uint32_t left = mask; left != 0; left &= left - 1) {
            uint8_t without = most[mask ^ (left & -left)];
            groups = without > groups ? without : groups;
        }
        most[mask] = (uint8_t)(groups + (sum == 0));
    }
}

/* Follows a best order of removal: the nodes removed between two zero sums are a group. */
static enum netting_result settle_exactly(struct solver *solver)
{
    const struct node *nodes = solver->nodes;
    uint8_t *most = malloc(UINT32_C(1) << solver->node_count);
    if (most == NULL)
        return NETTING_NO_MEMORY;
    count_groups(nodes, solver->node_count, most);

    for (uint32_t mask = (UINT32_C(1) << solver->node_count) - 1; mask != 0;) {
        struct node group[NETTING_EXACT_MAX];
        size_t count = 0;
        int64_t sum = 0;
        do {
            uint32_t left = mask;
            while (most[mask ^ (left & -left)] + (sum == 0) != most[mask])
                left &= left - 1;
            group[count] = nodes[__builtin_ctz(left)];
            sum -= group[count++].minor;
            mask ^= left & -left;
        } while (sum != 0);
        settle(solver, group, count);
    }
    free(most);
    return NETTING_OK;
}

static enum netting_result settle_all(struct solver *solver)
{
    qsort(solver->nodes, solver->node_count, sizeof *solver->nodes, by_amount);
    settle_pairs(solver);
    for (size_t size = 3; size <= GROUP_MAX; size++)
        for (int pass = 0; pass < PASSES_MAX && settle_groups(solver, size);)
            pass++;
    if (solver->node_count <= NETTING_EXACT_MAX)
        return settle_exactly(solver);
    settle(solver, solver->nodes, solver->node_count);
    return NETTING_OK;
}

enum netting_result netting_solve(const struct money *positions, size_t count,
                                  struct netting_payment *payments, size_t *payment_count)
{
    assert(count <= UINT32_MAX);
    *payment_count = 0;
    if (!balanced(positions, count))
        return NETTING_NOT_BALANCED;
    if (count < 2)
        return NETTING_OK;

    struct solver solver = {.nodes = malloc(count * sizeof *solver.nodes), .payments = payments};
    if (solver.nodes == NULL)
        return NETTING_NO_MEMORY;
    for (size_t i = 0; i < count; i++)
        if (positions[i].minor != 0)
            solver.nodes[solver.node_count++] =
                (struct node){.minor = positions[i].minor, .index = (uint32_t)i};
    enum netting_result result = settle_all(&solver);
    free(solver.nodes);
    if (result != NETTING_OK)
        return result;
    qsort(payments, solver.payment_count, sizeof *payments, by_from_to);
    *payment_count = solver.payment_count;
    return NETTING_OK;
}
