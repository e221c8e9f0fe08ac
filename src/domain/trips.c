/* SPDX-License-Identifier: ISC */
/* Trips, and exchanges between them. An exchange looks at the trips of one taker: another giver may bring all
 * of it, or the givers that come anyway may bring the boxes of one of them as well. */
#include "domain/trips.h"

#include <stdlib.h>

enum { ROUNDS_MAX = 8 };

void trips_dispose(struct trips *trips)
{
    free(trips->trips);
    free(trips->boxes);
    free(trips->left);
    *trips = (struct trips){0};
}

static int by_trip(const void *left, const void *right)
{
    const struct flow *a = left, *b = right;
    if (a->taker != b->taker)
        return a->taker < b->taker ? -1 : 1;
    if (a->giver != b->giver)
        return a->giver < b->giver ? -1 : 1;
    return a->type < b->type ? -1 : a->type > b->type;
}

static bool same_trip(const struct flow *a, const struct flow *b)
{
    return a->giver == b->giver && a->taker == b->taker;
}

bool trips_gather(const struct trading *trading, struct flow *flows, size_t count, struct trips *trips)
{
    size_t pairs = 0, types = trading->types;
    if (count > 0)
        qsort(flows, count, sizeof *flows, by_trip);
    for (size_t i = 0; i < count; i++)
        pairs += i == 0 || !same_trip(&flows[i - 1], &flows[i]);
    trips->trips = calloc(pairs + 1, sizeof *trips->trips);
    trips->boxes = calloc(pairs * types + 1, sizeof *trips->boxes);
    trips->left = calloc(trading->givers * types + 1, sizeof *trips->left);
    if (trips->trips == NULL || trips->boxes == NULL || trips->left == NULL)
        return false;
    for (size_t i = 0; i < trading->givers * types; i++)
        trips->left[i] = trading->surplus[i];
    for (size_t i = 0; i < count; i++) {
        const struct flow *flow = &flows[i];
        if (i == 0 || !same_trip(flow - 1, flow))
            trips->trips[trips->count++] = (struct trip){.giver = flow->giver, .taker = flow->taker};
        trips->trips[trips->count - 1].total += flow->boxes;
        trips->boxes[(trips->count - 1) * types + flow->type] = flow->boxes;
        trips->left[flow->giver * types + flow->type] -= flow->boxes;
    }
    return true;
}

int64_t trips_boxes(const struct trips *trips)
{
    int64_t boxes = 0;
    for (size_t i = 0; i < trips->count; i++)
        boxes += trips->trips[i].total;
    return boxes;
}

int64_t trips_times(const struct trading *trading, int64_t boxes)
{
    return boxes == 0 ? 0 : (boxes - 1) / trading->trip_boxes + 1;
}

static int64_t cost_of(const struct trading *trading, size_t giver, size_t taker, int64_t boxes)
{
    return trips_times(trading, boxes) * trading->cost[giver * trading->takers + taker];
}

int64_t trips_cost(const struct trading *trading, const struct trips *trips)
{
    int64_t cost = 0;
    for (size_t i = 0; i < trips->count; i++)
        if (trips->trips[i].total > 0)
            cost += cost_of(trading, trips->trips[i].giver, trips->trips[i].taker, trips->trips[i].total);
    return cost;
}

/* The trips of one taker. */
struct visits {
    size_t first, end;
};

static struct visits visits_from(const struct trips *trips, size_t first)
{
    struct visits visits = {first, first};
    while (visits.end < trips->count && trips->trips[visits.end].taker == trips->trips[first].taker)
        visits.end++;
    return visits;
}

static void move_boxes(const struct trading *trading, struct trips *trips, size_t from, size_t to,
                       size_t type, int64_t boxes)
{
    size_t types = trading->types;
    trips->boxes[from * types + type] -= boxes;
    trips->trips[from].total -= boxes;
    trips->left[trips->trips[from].giver * types + type] += boxes;
    trips->boxes[to * types + type] += boxes;
    trips->trips[to].total += boxes;
    trips->left[trips->trips[to].giver * types + type] -= boxes;
}

/* The boxes that can be added to a trip without going once more. */
static int64_t room_of(const struct trading *trading, const struct trip *trip)
{
    if (trip->total == 0)
        return 0;
    if (trading->trip_boxes == INT64_MAX)
        return INT64_MAX - trip->total;
    return trips_times(trading, trip->total) * trading->trip_boxes - trip->total;
}

/* Finds how many boxes of a type the other visits can take from a trip. Moves them if asked to. */
static int64_t hand_over(const struct trading *trading, struct trips *trips, struct visits visits,
                         size_t trip, size_t type, bool move)
{
    int64_t wanted = trips->boxes[trip * trading->types + type], taken = 0;
    for (size_t other = visits.first; other < visits.end && taken < wanted; other++) {
        if (other == trip)
            continue;
        int64_t room = room_of(trading, &trips->trips[other]);
        int64_t had = trips->left[trips->trips[other].giver * trading->types + type];
        int64_t part = wanted - taken;
        part = part < room ? part : room;
        part = part < had ? part : had;
        taken += part;
        if (move && part > 0)
            move_boxes(trading, trips, trip, other, type, part);
    }
    return taken;
}

/* Lets the others bring the boxes of a trip. False: they cannot. While more than one type uses the room of a
 * trip, the first look may promise too much; then the trip goes on with what is left of it. */
static bool close_trip(const struct trading *trading, struct trips *trips, struct visits visits, size_t trip)
{
    for (size_t type = 0; type < trading->types; type++)
        if (hand_over(trading, trips, visits, trip, type, false) < trips->boxes[trip * trading->types + type])
            return false;
    for (size_t type = 0; type < trading->types; type++)
        (void)hand_over(trading, trips, visits, trip, type, true);
    return trips->trips[trip].total == 0;
}

static bool close_dearest(const struct trading *trading, struct trips *trips, struct visits visits)
{
    bool closed = false;
    for (size_t tries = visits.first; tries < visits.end; tries++) {
        size_t dearest = visits.end;
        int64_t most = 0;
        for (size_t i = visits.first; i < visits.end; i++) {
            int64_t cost =
                cost_of(trading, trips->trips[i].giver, trips->trips[i].taker, trips->trips[i].total);
            if (cost > most && (dearest == visits.end || cost > most)) {
                most = cost;
                dearest = i;
            }
        }
        if (dearest == visits.end || !close_trip(trading, trips, visits, dearest))
            break;
        closed = true;
    }
    return closed;
}

/* Whether a giver has all boxes of a trip left. */
static bool giver_has(const struct trading *trading, const struct trips *trips, size_t giver, size_t trip)
{
    for (size_t type = 0; type < trading->types; type++)
        if (trips->boxes[trip * trading->types + type] > trips->left[giver * trading->types + type])
            return false;
    return true;
}

/* A trip from another giver at less cost. Givers that come to this taker already are left to close_trip. */
static bool exchange_giver(const struct trading *trading, struct trips *trips, struct visits visits,
                           size_t trip)
{
    struct trip *at = &trips->trips[trip];
    int64_t least = cost_of(trading, at->giver, at->taker, at->total);
    size_t best = at->giver;
    for (size_t giver = 0; giver < trading->givers && at->total > 0; giver++) {
        int64_t cost = trading->cost[giver * trading->takers + at->taker];
        if (cost >= least || cost == NO_WAY || !giver_has(trading, trips, giver, trip))
            continue;
        bool comes = false;
        for (size_t i = visits.first; i < visits.end; i++)
            comes = comes || trips->trips[i].giver == giver;
        if (!comes && trips_times(trading, at->total) * cost < least) {
            least = trips_times(trading, at->total) * cost;
            best = giver;
        }
    }
    if (best == at->giver)
        return false;
    for (size_t type = 0; type < trading->types; type++) {
        trips->left[at->giver * trading->types + type] += trips->boxes[trip * trading->types + type];
        trips->left[best * trading->types + type] -= trips->boxes[trip * trading->types + type];
    }
    at->giver = (uint32_t)best;
    return true;
}

/* Whether one giver can bring all that a taker gets, with the part that it brings already. */
static bool giver_has_all(const struct trading *trading, const struct trips *trips, struct visits visits,
                          size_t giver, int64_t *total)
{
    *total = 0;
    for (size_t type = 0; type < trading->types; type++) {
        int64_t wanted = 0, had = trips->left[giver * trading->types + type];
        for (size_t i = visits.first; i < visits.end; i++) {
            wanted += trips->boxes[i * trading->types + type];
            if (trips->trips[i].giver == giver)
                had += trips->boxes[i * trading->types + type];
        }
        if (wanted > had)
            return false;
        *total += wanted;
    }
    return true;
}

/* One giver in place of several. */
static bool unite(const struct trading *trading, struct trips *trips, struct visits visits)
{
    int64_t least = 0;
    size_t best = trading->givers, open = 0;
    for (size_t i = visits.first; i < visits.end; i++) {
        const struct trip *at = &trips->trips[i];
        least += cost_of(trading, at->giver, at->taker, at->total);
        open += at->total > 0;
    }
    for (size_t giver = 0; giver < trading->givers && open > 1; giver++) {
        int64_t cost = trading->cost[giver * trading->takers + trips->trips[visits.first].taker], total;
        if (cost < least && giver_has_all(trading, trips, visits, giver, &total) &&
            trips_times(trading, total) * cost < least) {
            least = trips_times(trading, total) * cost;
            best = giver;
        }
    }
    if (best == trading->givers)
        return false;
    size_t into = visits.first;
    for (size_t i = visits.first; i < visits.end; i++)
        if (trips->trips[i].giver == best)
            into = i;
    for (size_t i = visits.first; i < visits.end; i++)
        for (size_t type = 0; type < trading->types && i != into; type++)
            move_boxes(trading, trips, i, into, type, trips->boxes[i * trading->types + type]);
    for (size_t type = 0; type < trading->types; type++) {
        int64_t boxes = trips->boxes[into * trading->types + type];
        trips->left[trips->trips[into].giver * trading->types + type] += boxes;
        trips->left[best * trading->types + type] -= boxes;
    }
    trips->trips[into].giver = (uint32_t)best;
    return true;
}

void trips_improve(const struct trading *trading, struct trips *trips)
{
    bool changed = true;
    for (int round = 0; round < ROUNDS_MAX && changed; round++) {
        changed = false;
        for (size_t first = 0; first < trips->count;) {
            struct visits visits = visits_from(trips, first);
            changed = close_dearest(trading, trips, visits) || changed;
            for (size_t i = visits.first; i < visits.end; i++)
                changed = exchange_giver(trading, trips, visits, i) || changed;
            changed = unite(trading, trips, visits) || changed;
            first = visits.end;
        }
    }
}

static int64_t cups_of(const struct trading *trading, const struct trips *trips, size_t trip,
                       const int64_t *box)
{
    int64_t cups = 0;
    for (size_t type = 0; type < trading->types; type++)
        cups += trips->boxes[trip * trading->types + type] * box[type];
    return cups;
}

static void drop_trip(const struct trading *trading, struct trips *trips, size_t trip)
{
    for (size_t type = 0; type < trading->types; type++) {
        int64_t *boxes = &trips->boxes[trip * trading->types + type];
        trips->left[trips->trips[trip].giver * trading->types + type] += *boxes;
        *boxes = 0;
    }
    trips->trips[trip].total = 0;
}

void trips_drop_small(const struct trading *trading, struct trips *trips, const int64_t *box,
                      int64_t minimum_cups)
{
    for (size_t first = 0; first < trips->count;) {
        struct visits visits = visits_from(trips, first);
        for (size_t i = visits.first; i < visits.end; i++)
            if (trips->trips[i].total > 0 && cups_of(trading, trips, i, box) < minimum_cups)
                (void)close_trip(trading, trips, visits, i);
        for (size_t i = visits.first; i < visits.end; i++)
            if (trips->trips[i].total > 0 && cups_of(trading, trips, i, box) < minimum_cups)
                drop_trip(trading, trips, i);
        first = visits.end;
    }
}
