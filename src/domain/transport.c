/* SPDX-License-Identifier: ISC */
/* The network simplex method on a spanning tree.
 *
 * Nodes are the sources, the sinks, a sink more that takes what is left over at no cost, and a root. Each
 * node but the root has a basic arc to its parent, with a flow and a direction. At first every node hangs on
 * the root, by arcs that are dearer than any path of real ones, so that no optimum uses them. A pivot brings
 * in an arc whose price says that it saves, and takes out the arc of the cycle whose flow ends first. */
#include "depositd/transport.h"

#include <assert.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

enum { NONE = -1, BLOCK_MIN = 64 };

__extension__ typedef __int128 wide;

struct node {
    int32_t parent, child, next, previous; /* in the tree: NONE where there is none */
    int32_t depth;
    bool up;       /* the arc leads from the node to its parent */
    int64_t flow;  /* on that arc */
    int64_t price; /* for basic arcs: cost + price of the tail = price of the head */
};

struct transport {
    size_t sources, sinks;
    size_t rest, root, nodes; /* the sink of the rest, the root; the number of all */
    int64_t *supply, *demand; /* demand with that of the rest */
    const int64_t *cost;      /* while it is solved, and until the next time */
    int64_t artificial;       /* the cost of arcs to and from the root */
    size_t cursor;            /* where the search for an arc goes on: source * (sinks + 1) + sink */
    struct node *tree;
    int64_t *sink_prices; /* once more the prices of sinks, side by side for the search */
};

static int64_t arc_cost(const struct transport *problem, size_t tail, size_t head)
{
    if (tail == problem->root)
        return problem->artificial;
    if (head == problem->root || head == problem->rest)
        return 0;
    return problem->cost[tail * problem->sinks + (head - problem->sources)];
}

static void tree_hang(struct transport *problem, int32_t node, int32_t parent)
{
    struct node *tree = problem->tree;
    tree[node].parent = parent;
    tree[node].previous = NONE;
    tree[node].next = tree[parent].child;
    if (tree[node].next != NONE)
        tree[tree[node].next].previous = node;
    tree[parent].child = node;
}

static void tree_unhang(struct transport *problem, int32_t node)
{
    struct node *tree = problem->tree;
    if (tree[node].previous != NONE)
        tree[tree[node].previous].next = tree[node].next;
    else
        tree[tree[node].parent].child = tree[node].next;
    if (tree[node].next != NONE)
        tree[tree[node].next].previous = tree[node].previous;
}

/* Gives a node its price and depth by its parent's. */
static void node_price(struct transport *problem, int32_t node)
{
    struct node *at = &problem->tree[node];
    const struct node *parent = &problem->tree[at->parent];
    at->depth = parent->depth + 1;
    at->price = at->up ? parent->price - arc_cost(problem, (size_t)node, (size_t)at->parent)
                       : parent->price + arc_cost(problem, (size_t)at->parent, (size_t)node);
    if ((size_t)node >= problem->sources)
        problem->sink_prices[(size_t)node - problem->sources] = at->price;
}

/* The node after this one in the walk through the tree below `top`; NONE at the end. */
static int32_t tree_walk(const struct transport *problem, int32_t node, int32_t top)
{
    const struct node *tree = problem->tree;
    if (tree[node].child != NONE)
        return tree[node].child;
    while (node != top && tree[node].next == NONE)
        node = tree[node].parent;
    return node == top ? NONE : tree[node].next;
}

static void tree_price(struct transport *problem, int32_t top)
{
    for (int32_t node = top; node != NONE; node = tree_walk(problem, node, top))
        if ((size_t)node != problem->root)
            node_price(problem, node);
}

/* An arc of zero flow leads up. This makes a tree strongly feasible. */
static void tree_start(struct transport *problem)
{
    struct node *tree = problem->tree;
    tree[problem->root] = (struct node){.parent = NONE, .child = NONE, .next = NONE, .previous = NONE};
    for (size_t i = 0; i < problem->root; i++) {
        bool source = i < problem->sources;
        int64_t amount = source ? problem->supply[i] : problem->demand[i - problem->sources];
        tree[i] = (struct node){.child = NONE, .up = source || amount == 0, .flow = amount};
        tree_hang(problem, (int32_t)i, (int32_t)problem->root);
    }
}

struct entering {
    int64_t saving;
    size_t source, sink;
};

/* Looks at a part of a source's arcs. */
static void look_at(const struct transport *problem, size_t source, size_t from, size_t end,
                    struct entering *best)
{
    const int64_t *cost = &problem->cost[source * problem->sinks], *prices = problem->sink_prices;
    int64_t price = problem->tree[source].price, most = best->saving + price;
    for (size_t sink = from; sink < end; sink++) {
        /* The sink of the rest is the last, and costs nothing. */
        int64_t saving = prices[sink] - (sink < problem->sinks ? cost[sink] : 0);
        if (saving > most) {
            most = saving;
            *best = (struct entering){saving - price, source, sink};
        }
    }
}

/* The best of a block of arcs, from where the last search ended, or of the first block that has any that
 * saves. False: none does, and the plan is the cheapest. */
static bool find_entering(struct transport *problem, struct entering *best)
{
    size_t width = problem->sinks + 1, arcs = problem->sources * width, block = BLOCK_MIN;
    while (block * block < arcs)
        block *= 2;
    *best = (struct entering){0};
    for (size_t looked = 0, in_block = 0; looked < arcs;) {
        size_t source = problem->cursor / width, from = problem->cursor % width;
        size_t part = width - from < block - in_block ? width - from : block - in_block;
        look_at(problem, source, from, from + part, best);
        problem->cursor = (problem->cursor + part) % arcs;
        looked += part;
        in_block = (in_block + part) % block;
        if (in_block == 0 && best->saving > 0)
            break;
    }
    return best->saving > 0;
}

struct pivot {
    int32_t tail, head; /* of the arc that comes in */
    int32_t join;       /* the top of the cycle */
    int32_t out;        /* the arc of this node goes out */
    bool below_tail;    /* the node is on the side of the tail */
    int64_t amount;
};

static int32_t find_join(const struct node *tree, int32_t a, int32_t b)
{
    while (a != b)
        if (tree[a].depth >= tree[b].depth)
            a = tree[a].parent;
        else
            b = tree[b].parent;
    return a;
}

/* The last arc that blocks the flow, seen along the cycle from its top: Cunningham's rule. */
static void find_leaving(const struct node *tree, struct pivot *pivot)
{
    pivot->join = find_join(tree, pivot->tail, pivot->head);
    pivot->amount = INT64_MAX;
    for (int32_t node = pivot->tail; node != pivot->join; node = tree[node].parent)
        if (tree[node].up && tree[node].flow < pivot->amount) {
            pivot->amount = tree[node].flow;
            pivot->out = node;
            pivot->below_tail = true;
        }
    for (int32_t node = pivot->head; node != pivot->join; node = tree[node].parent)
        if (!tree[node].up && tree[node].flow <= pivot->amount) {
            pivot->amount = tree[node].flow;
            pivot->out = node;
            pivot->below_tail = false;
        }
    assert(pivot->amount < INT64_MAX); /* every cycle has an arc against it, since all costs are >= 0 */
}

static void change_flows(struct node *tree, const struct pivot *pivot)
{
    for (int32_t node = pivot->tail; node != pivot->join; node = tree[node].parent)
        tree[node].flow += tree[node].up ? -pivot->amount : pivot->amount;
    for (int32_t node = pivot->head; node != pivot->join; node = tree[node].parent)
        tree[node].flow += tree[node].up ? pivot->amount : -pivot->amount;
}

/* Cuts off the part of the tree below the arc that goes out, and hangs it on the other end of the arc that
 * comes in. The parents between the two turn round. */
static void change_tree(struct transport *problem, const struct pivot *pivot)
{
    struct node *tree = problem->tree;
    int32_t node = pivot->below_tail ? pivot->tail : pivot->head;
    int32_t parent = pivot->below_tail ? pivot->head : pivot->tail;
    int32_t top = node;
    int64_t flow = pivot->amount;
    bool up = pivot->below_tail;
    for (bool last = false; !last;) {
        int32_t old_parent = tree[node].parent;
        int64_t old_flow = tree[node].flow;
        bool old_up = tree[node].up;
        last = node == pivot->out;
        tree_unhang(problem, node);
        tree_hang(problem, node, parent);
        tree[node].flow = flow;
        tree[node].up = up;
        parent = node;
        node = old_parent;
        flow = old_flow;
        up = !old_up;
    }
    tree_price(problem, top);
}

static bool sum_within(const int64_t *values, size_t count, int64_t *sum)
{
    *sum = 0;
    for (size_t i = 0; i < count; i++) {
        if (values[i] < 0 || values[i] > TRANSPORT_SUPPLY_MAX - *sum)
            return false;
        *sum += values[i];
    }
    return true;
}

enum transport_result transport_new(size_t sources, size_t sinks, const int64_t *supply,
                                    const int64_t *demand, struct transport **problem)
{
    int64_t supplied, demanded;
    *problem = NULL;
    if (sources > TRANSPORT_NODES_MAX || sinks > TRANSPORT_NODES_MAX ||
        sources * sinks > TRANSPORT_CELLS_MAX || !sum_within(supply, sources, &supplied) ||
        !sum_within(demand, sinks, &demanded))
        return TRANSPORT_TOO_LARGE;
    if (demanded > supplied)
        return TRANSPORT_SHORT;

    struct transport *made = calloc(1, sizeof *made);
    if (made == NULL)
        return TRANSPORT_NO_MEMORY;
    made->sources = sources;
    made->sinks = sinks;
    made->rest = sources + sinks;
    made->root = made->rest + 1;
    made->nodes = made->root + 1;
    made->supply = calloc(sources + 1, sizeof *made->supply);
    made->demand = calloc(sinks + 1, sizeof *made->demand);
    made->tree = calloc(made->nodes, sizeof *made->tree);
    made->sink_prices = calloc(sinks + 1, sizeof *made->sink_prices);
    if (made->supply == NULL || made->demand == NULL || made->tree == NULL || made->sink_prices == NULL) {
        transport_free(made);
        return TRANSPORT_NO_MEMORY;
    }
    for (size_t i = 0; i < sources; i++)
        made->supply[i] = supply[i];
    for (size_t i = 0; i < sinks; i++)
        made->demand[i] = demand[i];
    made->demand[sinks] = supplied - demanded;
    tree_start(made);
    *problem = made;
    return TRANSPORT_OK;
}

void transport_free(struct transport *problem)
{
    if (problem == NULL)
        return;
    free(problem->supply);
    free(problem->demand);
    free(problem->tree);
    free(problem->sink_prices);
    free(problem);
}

enum transport_result transport_solve(struct transport *problem, const int64_t *cost)
{
    int64_t highest = 0;
    for (size_t i = 0; i < problem->sources * problem->sinks; i++) {
        if (cost[i] < 0 || cost[i] > TRANSPORT_COST_MAX)
            return TRANSPORT_TOO_LARGE;
        highest = cost[i] > highest ? cost[i] : highest;
    }
    problem->cost = cost;
    problem->artificial = (highest + 1) * (int64_t)problem->nodes;
    tree_price(problem, (int32_t)problem->root);

    struct entering arc;
    while (problem->sources > 0 && find_entering(problem, &arc)) {
        struct pivot pivot = {.tail = (int32_t)arc.source, .head = (int32_t)(problem->sources + arc.sink)};
        find_leaving(problem->tree, &pivot);
        change_flows(problem->tree, &pivot);
        change_tree(problem, &pivot);
    }
    return TRANSPORT_OK;
}

static int by_source_sink(const void *left, const void *right)
{
    const struct transport_flow *a = left, *b = right;
    if (a->source != b->source)
        return a->source < b->source ? -1 : 1;
    return a->sink < b->sink ? -1 : a->sink > b->sink;
}

/* The flow of a node's arc, if it is one between a source and a sink. */
static bool flow_of(const struct transport *problem, size_t node, struct transport_flow *flow)
{
    const struct node *at = &problem->tree[node];
    size_t parent = (size_t)at->parent;
    size_t source = at->up ? node : parent, head = at->up ? parent : node;
    if (parent == problem->root || head == problem->rest || at->flow == 0)
        return false;
    *flow = (struct transport_flow){
        .source = (uint32_t)source, .sink = (uint32_t)(head - problem->sources), .amount = at->flow};
    return true;
}

size_t transport_flows(const struct transport *problem, struct transport_flow *flows)
{
    size_t count = 0;
    for (size_t node = 0; node < problem->root; node++)
        count += flow_of(problem, node, &flows[count]);
    qsort(flows, count, sizeof *flows, by_source_sink);
    return count;
}

int64_t transport_cost(const struct transport *problem)
{
    int64_t cost = 0;
    struct transport_flow flow;
    for (size_t node = 0; node < problem->root; node++)
        if (flow_of(problem, node, &flow))
            cost += flow.amount * problem->cost[flow.source * problem->sinks + flow.sink];
    return cost;
}

/* Weak duality. A unit more at a source saves its worth, which is not negative, for the rest may stay there.
 * A unit at a sink is dear by the least, over all sources, of cost and worth. No plan costs less than all
 * demand at that price, less all supply at its worth. */
int64_t transport_bound(const struct transport *problem)
{
    const struct node *tree = problem->tree;
    int64_t level = tree[problem->rest].price;
    wide bound = 0;
    for (size_t source = 0; source < problem->sources; source++) {
        int64_t worth = tree[source].price - level;
        bound -= (wide)problem->supply[source] * (worth > 0 ? worth : 0);
    }
    for (size_t sink = 0; sink < problem->sinks; sink++) {
        int64_t least = INT64_MAX;
        for (size_t source = 0; source < problem->sources; source++) {
            int64_t worth = tree[source].price - level;
            int64_t delivered = problem->cost[source * problem->sinks + sink] + (worth > 0 ? worth : 0);
            least = delivered < least ? delivered : least;
        }
        if (problem->demand[sink] > 0)
            bound += (wide)problem->demand[sink] * least;
    }
    return bound > 0 ? (int64_t)bound : 0; /* no plan costs more than an int64 */
}
