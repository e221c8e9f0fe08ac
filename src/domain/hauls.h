/* SPDX-License-Identifier: ISC */
/* Hauls that a plan is made of: boxes from givers to takers, and the exchanges that make them cheaper. Used
 * by moves.c only; one thread. */
#ifndef DEPOSITD_DOMAIN_HAULS_H
#define DEPOSITD_DOMAIN_HAULS_H

#include "depositd/money.h"

/* Sites that have boxes over, and sites that lack some, numbered on their own: one site may be both. */
struct trading {
    size_t givers, takers, types;
    uint32_t *giver, *taker; /* their sites */
    int64_t *surplus;        /* giver * types + type, in boxes */
    int64_t *share;          /* taker * types + type: the boxes that it is to get */
    int64_t *cost;      /* giver * takers + taker, of a haul, in minor units; NO_WAY where there is none */
    int64_t haul_boxes; /* INT64_MAX: any number */
};
#define NO_WAY INT64_MAX

/* All boxes from a giver to a taker. */
struct haul {
    uint32_t giver, taker;
    int64_t total;
};

/* Hauls by taker, then giver; boxes[haul * types + type]. A haul whose total is 0 does not take place. */
struct hauls {
    struct haul *hauls;
    size_t count;
    int64_t *boxes;
    int64_t *left; /* of the surplus: giver * types + type */
};

void hauls_dispose(struct hauls *hauls);

/* Boxes of one type between two. */
struct flow {
    uint32_t giver, taker, type;
    int64_t boxes;
};
/* Makes the hauls of these flows, which it puts in order. Each giver, taker and type stands once. False: no
 * memory. */
MUST_CHECK bool hauls_gather(const struct trading *trading, struct flow *flows, size_t count,
                             struct hauls *hauls);

/* How often the way is gone. */
int64_t hauls_times(const struct trading *trading, int64_t boxes);
int64_t hauls_cost(const struct trading *trading, const struct hauls *hauls);
int64_t hauls_boxes(const struct hauls *hauls);

/* Exchanges givers while that saves, a bounded number of times. */
void hauls_improve(const struct trading *trading, struct hauls *hauls);
/* Takes hauls with less than the minimum load together where other givers of the same taker have enough, and
 * drops the others. box: cups per box, by type. */
void hauls_drop_small(const struct trading *trading, struct hauls *hauls, const int64_t *box,
                      int64_t minimum_cups);

#endif
