/* SPDX-License-Identifier: ISC */
/* Trips that a plan is made of: boxes from givers to takers, and the exchanges that make them cheaper. Used
 * by moves.c only; one thread. */
#ifndef DEPOSITD_DOMAIN_TRIPS_H
#define DEPOSITD_DOMAIN_TRIPS_H

#include "depositd/money.h"

/* Sites that have boxes over, and sites that lack some, numbered on their own: one site may be both. */
struct trading {
    size_t givers, takers, types;
    uint32_t *giver, *taker; /* their sites */
    int64_t *surplus;        /* giver * types + type, in boxes */
    int64_t *share;          /* taker * types + type: the boxes that it is to get */
    int64_t *cost;      /* giver * takers + taker, of a trip, in minor units; NO_WAY where there is none */
    int64_t trip_boxes; /* INT64_MAX: any number */
};
#define NO_WAY INT64_MAX

/* All boxes from a giver to a taker. */
struct trip {
    uint32_t giver, taker;
    int64_t total;
};

/* Trips by taker, then giver; boxes[trip * types + type]. A trip whose total is 0 does not take place. */
struct trips {
    struct trip *trips;
    size_t count;
    int64_t *boxes;
    int64_t *left; /* of the surplus: giver * types + type */
};

void trips_dispose(struct trips *trips);

/* Boxes of one type between two. */
struct flow {
    uint32_t giver, taker, type;
    int64_t boxes;
};
/* Makes the trips of these flows, which it puts in order. Each giver, taker and type stands once. False: no
 * memory. */
MUST_CHECK bool trips_gather(const struct trading *trading, struct flow *flows, size_t count,
                             struct trips *trips);

/* How often the way is gone. */
int64_t trips_times(const struct trading *trading, int64_t boxes);
int64_t trips_cost(const struct trading *trading, const struct trips *trips);
int64_t trips_boxes(const struct trips *trips);

/* Exchanges givers while that saves, a bounded number of times. */
void trips_improve(const struct trading *trading, struct trips *trips);
/* Takes trips with less than the minimum load together where other givers of the same taker have enough, and
 * drops the others. box: cups per box, by type. */
void trips_drop_small(const struct trading *trading, struct trips *trips, const int64_t *box,
                      int64_t minimum_cups);

#endif
