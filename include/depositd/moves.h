/* SPDX-License-Identifier: ISC */
/* Moves of cups between sites: from the stock that each site is expected to have and its par stock, the hauls
 * that bring whole boxes to where they are needed, at little cost.
 *
 * A site gives what it has over its par, rounded down to whole boxes, and needs what it lacks, rounded up.
 * Where fewer boxes are to be had than are needed, they are shared in proportion to need (largest remainder).
 * A haul goes from one site to one other, with boxes of all types, and costs the same however full it is: a
 * fixed-charge transportation problem, which is NP-hard. Two plans are made, by linear costs and greedily;
 * exchanges make them cheaper, and the cheaper one is taken. The bound is that of the linear relaxation
 * (M. L. Balinski, "Fixed-cost transportation problems", Naval Research Logistics Quarterly 8, 1961). Pure,
 * deterministic; allocates memory; any thread. */
#ifndef DEPOSITD_MOVES_H
#define DEPOSITD_MOVES_H

#include "depositd/distance.h"
#include "depositd/money.h"

enum {
    MOVES_TYPES_MAX = 64,
    MOVES_SITES_MAX = 10000,
    MOVES_PAIRS_MAX = 4000000, /* sites that give times sites that need */
    MOVES_WORK_MAX = 64000000  /* these pairs times cup types: the time that a plan takes */
};
/* The highest cost of a haul, in minor units, and the most boxes that sites have over, or lack, in all. */
#define MOVES_HAUL_MAX  INT64_C(1000000000)
#define MOVES_BOXES_MAX INT64_C(10000000)

struct moves_site {
    bool placed; /* whether its position is known */
    struct position at;
};

/* A site and a cup type, in cups. If it takes no part, the rest is of no account. */
struct moves_cell {
    bool takes_part;
    int64_t stock, par;
};

/* The cost of a haul that is stated, in place of one by distance. */
struct moves_price {
    uint32_t from, to;
    struct money cost;
};

struct moves_terms {
    struct money per_km, per_stop;
    struct cups minimum_load; /* a haul with fewer does not go; 0: none */
    int64_t haul_boxes;       /* the most that a haul takes; 0: any number */
};

struct moves_question {
    size_t sites, types;
    const struct moves_site *site;
    const struct moves_cell *cells; /* site * types + type */
    const int64_t *box;             /* cups per box, by type: at least 1 */
    struct moves_terms terms;
    const struct moves_price *prices; /* by from, then to; each pair once */
    size_t price_count;
};

struct moves_line {
    uint32_t type;
    int64_t boxes;
};

/* Hauls from one site to another, and the lines that they bring together. */
struct moves_shipment {
    uint32_t from, to;
    int64_t hauls;
    double distance_m; /* below 0: unknown */
    struct money cost; /* of all its hauls */
    size_t first_line, line_count;
};

/* In boxes. `need` is all that a site lacks, `share` what it was to get of it. */
struct moves_balance {
    int64_t surplus, need, share, sent, received;
};

struct moves {
    struct moves_shipment *shipments; /* by from, then to */
    size_t shipment_count;
    struct moves_line *lines;
    size_t line_count;
    struct moves_balance *cells; /* site * types + type */
    struct moves_balance *types; /* sums, by type */
    struct money cost;
    struct money bound; /* bringing the same boxes to the same sites cannot cost less */
};

enum moves_result {
    MOVES_OK = 0,
    MOVES_TOO_LARGE = -1, /* over one of the maxima */
    MOVES_NO_MEMORY = -2
};

/* Fills `moves`, for moves_dispose, if it went well. */
MUST_CHECK enum moves_result moves_plan(const struct moves_question *question, struct moves *moves);
void moves_dispose(struct moves *moves);

/* The share of the cost that a better plan might save, at most: 0 to 1. */
double moves_gap(const struct moves *moves);

#endif
