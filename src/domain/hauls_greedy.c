/* SPDX-License-Identifier: ISC */
/* The greedy plan: again and again the pair whose haul costs least for each box that it can bring (V.
 * Chvatal, "A greedy heuristic for the set-covering problem", Mathematics of Operations Research 4, 1979).
 *
 * A pair can bring less and less, so its cost per box only rises. Therefore a heap of the takers,
 * each with its cheapest giver, need not know of changes: if the first has become dearer since it was put
 * there, it looks for its cheapest giver again, and goes back. */
#include "domain/hauls_greedy.h"

#include <math.h>
#include <stdlib.h>

struct pair {
    double per_box;
    uint32_t giver, taker;
};

struct greedy {
    const struct trading *trading;
    int64_t *left, *open; /* of the surplus, of the share */
    struct pair *heap;    /* one for each taker that somebody can bring to */
    size_t pairs;
    struct flow *flows;
    size_t flow_count, flow_room;
};

static bool is_before(const struct pair *a, const struct pair *b)
{
    if (a->per_box != b->per_box)
        return a->per_box < b->per_box;
    return a->giver != b->giver ? a->giver < b->giver : a->taker < b->taker;
}

static void sift_down(struct greedy *greedy, size_t at)
{
    struct pair *heap = greedy->heap;
    for (;;) {
        size_t first = at;
        for (size_t child = 2 * at + 1; child <= 2 * at + 2 && child < greedy->pairs; child++)
            if (is_before(&heap[child], &heap[first]))
                first = child;
        if (first == at)
            return;
        struct pair other = heap[at];
        heap[at] = heap[first];
        heap[first] = other;
        at = first;
    }
}

static int64_t can_bring(const struct greedy *greedy, size_t giver, size_t taker)
{
    size_t types = greedy->trading->types;
    int64_t boxes = 0;
    for (size_t type = 0; type < types; type++) {
        int64_t had = greedy->left[giver * types + type], wanted = greedy->open[taker * types + type];
        boxes += had < wanted ? had : wanted;
    }
    return boxes;
}

/* The cost per box of all that a pair can bring, however often the way has to be gone. INFINITY: nothing. */
static double cost_per_box(const struct greedy *greedy, size_t giver, size_t taker)
{
    const struct trading *trading = greedy->trading;
    int64_t cost = trading->cost[giver * trading->takers + taker];
    int64_t boxes = cost == NO_WAY ? 0 : can_bring(greedy, giver, taker);
    return boxes == 0 ? INFINITY : (double)cost * (double)hauls_times(trading, boxes) / (double)boxes;
}

static struct pair cheapest_pair(const struct greedy *greedy, uint32_t taker)
{
    struct pair best = {.per_box = INFINITY, .taker = taker};
    for (uint32_t giver = 0; giver < greedy->trading->givers; giver++) {
        double per_box = cost_per_box(greedy, giver, taker);
        if (per_box < best.per_box)
            best = (struct pair){per_box, giver, taker};
    }
    return best;
}

static void fill_heap(struct greedy *greedy)
{
    for (uint32_t taker = 0; taker < greedy->trading->takers; taker++) {
        greedy->heap[greedy->pairs] = cheapest_pair(greedy, taker);
        greedy->pairs += isfinite(greedy->heap[greedy->pairs].per_box);
    }
    for (size_t at = greedy->pairs / 2 + 1; at-- > 0;)
        sift_down(greedy, at);
}

/* False: no memory. */
static bool add_flow(struct greedy *greedy, struct flow flow)
{
    if (greedy->flow_count == greedy->flow_room) {
        size_t room = greedy->flow_room * 2 + 64;
        struct flow *flows = realloc(greedy->flows, room * sizeof *flows);
        if (flows == NULL)
            return false;
        greedy->flows = flows;
        greedy->flow_room = room;
    }
    greedy->flows[greedy->flow_count++] = flow;
    return true;
}

static bool bring_all(struct greedy *greedy, struct pair pair)
{
    size_t types = greedy->trading->types;
    for (uint32_t type = 0; type < types; type++) {
        int64_t *had = &greedy->left[pair.giver * types + type];
        int64_t *wanted = &greedy->open[pair.taker * types + type];
        int64_t boxes = *had < *wanted ? *had : *wanted;
        if (boxes == 0)
            continue;
        if (!add_flow(greedy, (struct flow){pair.giver, pair.taker, type, boxes}))
            return false;
        *had -= boxes;
        *wanted -= boxes;
    }
    return true;
}

/* Whole hauls round up, so that a cost per box may fall when less is to be brought; then the pair is taken a
 * little late, which is no harm. */
static bool choose_pairs(struct greedy *greedy)
{
    while (greedy->pairs > 0) {
        struct pair *first = &greedy->heap[0];
        if (cost_per_box(greedy, first->giver, first->taker) <= first->per_box && !bring_all(greedy, *first))
            return false;
        *first = cheapest_pair(greedy, first->taker);
        if (isinf(first->per_box))
            *first = greedy->heap[--greedy->pairs];
        sift_down(greedy, 0);
    }
    return true;
}

static int64_t *copy_of(const int64_t *values, size_t count)
{
    int64_t *copy = calloc(count + 1, sizeof *copy);
    for (size_t i = 0; i < count && copy != NULL; i++)
        copy[i] = values[i];
    return copy;
}

bool hauls_greedy(const struct trading *trading, struct hauls *hauls)
{
    struct greedy greedy = {
        .trading = trading,
        .left = copy_of(trading->surplus, trading->givers * trading->types),
        .open = copy_of(trading->share, trading->takers * trading->types),
        .heap = calloc(trading->takers + 1, sizeof *greedy.heap),
    };
    bool made = greedy.left != NULL && greedy.open != NULL && greedy.heap != NULL;
    if (made) {
        fill_heap(&greedy);
        made = choose_pairs(&greedy) && hauls_gather(trading, greedy.flows, greedy.flow_count, hauls);
    }
    free(greedy.left);
    free(greedy.open);
    free(greedy.heap);
    free(greedy.flows);
    return made;
}
