/* SPDX-License-Identifier: ISC */
/* Hauls, and exchanges between them. An exchange looks at the hauls of one taker: another giver may bring all
 * of it, or the givers that come anyway may bring the boxes of one of them as well. */
#include "domain/hauls.h"

#include <stdlib.h>

enum { ROUNDS_MAX = 8 };

void hauls_dispose(struct hauls *hauls)
{
    free(hauls->hauls);
    free(hauls->boxes);
    free(hauls->left);
    *hauls = (struct hauls){0};
}

static int by_haul(const void *left, const void *right)
{
    const struct flow *a = left, *b = right;
    if (a->taker != b->taker)
        return a->taker < b->taker ? -1 : 1;
    if (a->giver != b->giver)
        return a->giver < b->giver ? -1 : 1;
    return a->type < b->type ? -1 : a->type > b->type;
}

static bool same_haul(const struct flow *a, const struct flow *b)
{
    return a->giver == b->giver && a->taker == b->taker;
}

bool hauls_gather(const struct trading *trading, struct flow *flows, size_t count, struct hauls *hauls)
{
    size_t pairs = 0, types = trading->types;
    if (count > 0)
        qsort(flows, count, sizeof *flows, by_haul);
    for (size_t i = 0; i < count; i++)
        pairs += i == 0 || !same_haul(&flows[i - 1], &flows[i]);
    hauls->hauls = calloc(pairs + 1, sizeof *hauls->hauls);
    hauls->boxes = calloc(pairs * types + 1, sizeof *hauls->boxes);
    hauls->left = calloc(trading->givers * types + 1, sizeof *hauls->left);
    if (hauls->hauls == NULL || hauls->boxes == NULL || hauls->left == NULL)
        return false;
    for (size_t i = 0; i < trading->givers * types; i++)
        hauls->left[i] = trading->surplus[i];
    for (size_t i = 0; i < count; i++) {
        const struct flow *flow = &flows[i];
        if (i == 0 || !same_haul(flow - 1, flow))
            hauls->hauls[hauls->count++] = (struct haul){.giver = flow->giver, .taker = flow->taker};
        hauls->hauls[hauls->count - 1].total += flow->boxes;
        hauls->boxes[(hauls->count - 1) * types + flow->type] = flow->boxes;
        hauls->left[flow->giver * types + flow->type] -= flow->boxes;
    }
    return true;
}

int64_t hauls_boxes(const struct hauls *hauls)
{
    int64_t boxes = 0;
    for (size_t i = 0; i < hauls->count; i++)
        boxes += hauls->hauls[i].total;
    return boxes;
}

int64_t hauls_times(const struct trading *trading, int64_t boxes)
{
    return boxes == 0 ? 0 : (boxes - 1) / trading->haul_boxes + 1;
}

static int64_t cost_of(const struct trading *trading, size_t giver, size_t taker, int64_t boxes)
{
    return hauls_times(trading, boxes) * trading->cost[giver * trading->takers + taker];
}

int64_t hauls_cost(const struct trading *trading, const struct hauls *hauls)
{
    int64_t cost = 0;
    for (size_t i = 0; i < hauls->count; i++)
        if (hauls->hauls[i].total > 0)
            cost += cost_of(trading, hauls->hauls[i].giver, hauls->hauls[i].taker, hauls->hauls[i].total);
    return cost;
}

/* The hauls of one taker. */
struct visits {
    size_t first, end;
};

static struct visits visits_from(const struct hauls *hauls, size_t first)
{
    struct visits visits = {first, first};
    while (visits.end < hauls->count && hauls->hauls[visits.end].taker == hauls->hauls[first].taker)
        visits.end++;
    return visits;
}

static void move_boxes(const struct trading *trading, struct hauls *hauls, size_t from, size_t to,
                       size_t type, int64_t boxes)
{
    size_t types = trading->types;
    hauls->boxes[from * types + type] -= boxes;
    hauls->hauls[from].total -= boxes;
    hauls->left[hauls->hauls[from].giver * types + type] += boxes;
    hauls->boxes[to * types + type] += boxes;
    hauls->hauls[to].total += boxes;
    hauls->left[hauls->hauls[to].giver * types + type] -= boxes;
}

/* The boxes that can be added to a haul without going once more. */
static int64_t room_of(const struct trading *trading, const struct haul *haul)
{
    if (haul->total == 0)
        return 0;
    if (trading->haul_boxes == INT64_MAX)
        return INT64_MAX - haul->total;
    return hauls_times(trading, haul->total) * trading->haul_boxes - haul->total;
}

/* Finds how many boxes of a type the other visits can take from a haul. Moves them if asked to. */
static int64_t hand_over(const struct trading *trading, struct hauls *hauls, struct visits visits,
                         size_t haul, size_t type, bool move)
{
    int64_t wanted = hauls->boxes[haul * trading->types + type], taken = 0;
    for (size_t other = visits.first; other < visits.end && taken < wanted; other++) {
        if (other == haul)
            continue;
        int64_t room = room_of(trading, &hauls->hauls[other]);
        int64_t had = hauls->left[hauls->hauls[other].giver * trading->types + type];
        int64_t part = wanted - taken;
        part = part < room ? part : room;
        part = part < had ? part : had;
        taken += part;
        if (move && part > 0)
            move_boxes(trading, hauls, haul, other, type, part);
    }
    return taken;
}

/* Lets the others bring the boxes of a haul. False: they cannot. While more than one type uses the room of a
 * haul, the first look may promise too much; then the haul goes on with what is left of it. */
static bool close_haul(const struct trading *trading, struct hauls *hauls, struct visits visits, size_t haul)
{
    for (size_t type = 0; type < trading->types; type++)
        if (hand_over(trading, hauls, visits, haul, type, false) < hauls->boxes[haul * trading->types + type])
            return false;
    for (size_t type = 0; type < trading->types; type++)
        (void)hand_over(trading, hauls, visits, haul, type, true);
    return hauls->hauls[haul].total == 0;
}

static bool close_dearest(const struct trading *trading, struct hauls *hauls, struct visits visits)
{
    bool closed = false;
    for (size_t tries = visits.first; tries < visits.end; tries++) {
        size_t dearest = visits.end;
        int64_t most = 0;
        for (size_t i = visits.first; i < visits.end; i++) {
            int64_t cost =
                cost_of(trading, hauls->hauls[i].giver, hauls->hauls[i].taker, hauls->hauls[i].total);
            if (cost > most && (dearest == visits.end || cost > most)) {
                most = cost;
                dearest = i;
            }
        }
        if (dearest == visits.end || !close_haul(trading, hauls, visits, dearest))
            break;
        closed = true;
    }
    return closed;
}

/* Whether a giver has all boxes of a haul left. */
static bool giver_has(const struct trading *trading, const struct hauls *hauls, size_t giver, size_t haul)
{
    for (size_t type = 0; type < trading->types; type++)
        if (hauls->boxes[haul * trading->types + type] > hauls->left[giver * trading->types + type])
            return false;
    return true;
}

/* A haul from another giver at less cost. Givers that come to this taker already are left to close_haul. */
static bool exchange_giver(const struct trading *trading, struct hauls *hauls, struct visits visits,
                           size_t haul)
{
    struct haul *at = &hauls->hauls[haul];
    int64_t least = cost_of(trading, at->giver, at->taker, at->total);
    size_t best = at->giver;
    for (size_t giver = 0; giver < trading->givers && at->total > 0; giver++) {
        int64_t cost = trading->cost[giver * trading->takers + at->taker];
        if (cost >= least || cost == NO_WAY || !giver_has(trading, hauls, giver, haul))
            continue;
        bool comes = false;
        for (size_t i = visits.first; i < visits.end; i++)
            comes = comes || hauls->hauls[i].giver == giver;
        if (!comes && hauls_times(trading, at->total) * cost < least) {
            least = hauls_times(trading, at->total) * cost;
            best = giver;
        }
    }
    if (best == at->giver)
        return false;
    for (size_t type = 0; type < trading->types; type++) {
        hauls->left[at->giver * trading->types + type] += hauls->boxes[haul * trading->types + type];
        hauls->left[best * trading->types + type] -= hauls->boxes[haul * trading->types + type];
    }
    at->giver = (uint32_t)best;
    return true;
}

/* Whether one giver can bring all that a taker gets, with the part that it brings already. */
static bool giver_has_all(const struct trading *trading, const struct hauls *hauls, struct visits visits,
                          size_t giver, int64_t *total)
{
    *total = 0;
    for (size_t type = 0; type < trading->types; type++) {
        int64_t wanted = 0, had = hauls->left[giver * trading->types + type];
        for (size_t i = visits.first; i < visits.end; i++) {
            wanted += hauls->boxes[i * trading->types + type];
            if (hauls->hauls[i].giver == giver)
                had += hauls->boxes[i * trading->types + type];
        }
        if (wanted > had)
            return false;
        *total += wanted;
    }
    return true;
}

/* One giver in place of several. */
static bool unite(const struct trading *trading, struct hauls *hauls, struct visits visits)
{
    int64_t least = 0;
    size_t best = trading->givers, open = 0;
    for (size_t i = visits.first; i < visits.end; i++) {
        const struct haul *at = &hauls->hauls[i];
        least += cost_of(trading, at->giver, at->taker, at->total);
        open += at->total > 0;
    }
    for (size_t giver = 0; giver < trading->givers && open > 1; giver++) {
        int64_t cost = trading->cost[giver * trading->takers + hauls->hauls[visits.first].taker], total;
        if (cost < least && giver_has_all(trading, hauls, visits, giver, &total) &&
            hauls_times(trading, total) * cost < least) {
            least = hauls_times(trading, total) * cost;
            best = giver;
        }
    }
    if (best == trading->givers)
        return false;
    size_t into = visits.first;
    for (size_t i = visits.first; i < visits.end; i++)
        if (hauls->hauls[i].giver == best)
            into = i;
    for (size_t i = visits.first; i < visits.end; i++)
        for (size_t type = 0; type < trading->types && i != into; type++)
            move_boxes(trading, hauls, i, into, type, hauls->boxes[i * trading->types + type]);
    for (size_t type = 0; type < trading->types; type++) {
        int64_t boxes = hauls->boxes[into * trading->types + type];
        hauls->left[hauls->hauls[into].giver * trading->types + type] += boxes;
        hauls->left[best * trading->types + type] -= boxes;
    }
    hauls->hauls[into].giver = (uint32_t)best;
    return true;
}

void hauls_improve(const struct trading *trading, struct hauls *hauls)
{
    bool changed = true;
    for (int round = 0; round < ROUNDS_MAX && changed; round++) {
        changed = false;
        for (size_t first = 0; first < hauls->count;) {
            struct visits visits = visits_from(hauls, first);
            changed = close_dearest(trading, hauls, visits) || changed;
            for (size_t i = visits.first; i < visits.end; i++)
                changed = exchange_giver(trading, hauls, visits, i) || changed;
            changed = unite(trading, hauls, visits) || changed;
            first = visits.end;
        }
    }
}

static int64_t cups_of(const struct trading *trading, const struct hauls *hauls, size_t haul,
                       const int64_t *box)
{
    int64_t cups = 0;
    for (size_t type = 0; type < trading->types; type++)
        cups += hauls->boxes[haul * trading->types + type] * box[type];
    return cups;
}

static void drop_haul(const struct trading *trading, struct hauls *hauls, size_t haul)
{
    for (size_t type = 0; type < trading->types; type++) {
        int64_t *boxes = &hauls->boxes[haul * trading->types + type];
        hauls->left[hauls->hauls[haul].giver * trading->types + type] += *boxes;
        *boxes = 0;
    }
    hauls->hauls[haul].total = 0;
}

void hauls_drop_small(const struct trading *trading, struct hauls *hauls, const int64_t *box,
                      int64_t minimum_cups)
{
    for (size_t first = 0; first < hauls->count;) {
        struct visits visits = visits_from(hauls, first);
        for (size_t i = visits.first; i < visits.end; i++)
            if (hauls->hauls[i].total > 0 && cups_of(trading, hauls, i, box) < minimum_cups)
                (void)close_haul(trading, hauls, visits, i);
        for (size_t i = visits.first; i < visits.end; i++)
            if (hauls->hauls[i].total > 0 && cups_of(trading, hauls, i, box) < minimum_cups)
                drop_haul(trading, hauls, i);
        first = visits.end;
    }
}
