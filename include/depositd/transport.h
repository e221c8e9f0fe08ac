/* SPDX-License-Identifier: ISC */
/* The transportation problem: sources supply, sinks demand, each pair has a cost per unit; all demand is met
 * at the least cost, and the rest of the supply stays. First studied by F. L. Hitchcock (1941); solved here
 * by the network simplex method (G. B. Dantzig, Linear Programming and Extensions, 1963) with strongly
 * feasible trees, which cannot cycle (W. H. Cunningham, "A network simplex method", Mathematical Programming
 * 11, 1976).
 *
 * The least cost is proven by prices: no plan can cost less than the bound that they give. Pure,
 * deterministic. Allocates memory; one thread at a time for each problem. */
#ifndef DEPOSITD_TRANSPORT_H
#define DEPOSITD_TRANSPORT_H

#include "depositd/attributes.h"

#include <stddef.h>
#include <stdint.h>

enum {
    TRANSPORT_CELLS_MAX = 4000000, /* sources times sinks */
    TRANSPORT_NODES_MAX = 16384
};
/* The highest cost per unit, and the highest sum of the supply. Their product is an int64. */
#define TRANSPORT_COST_MAX   INT64_C(100000000000)
#define TRANSPORT_SUPPLY_MAX INT64_C(10000000)

enum transport_result {
    TRANSPORT_OK = 0,
    TRANSPORT_SHORT = -1,     /* more is demanded than supplied */
    TRANSPORT_TOO_LARGE = -2, /* the problem, a cost or the supply is over its maximum, or is negative */
    TRANSPORT_NO_MEMORY = -3
};

struct transport_flow {
    uint32_t source, sink;
    int64_t amount; /* > 0 */
};

struct transport;

/* Copies supply and demand, which are not negative. */
MUST_CHECK enum transport_result transport_new(size_t sources, size_t sinks, const int64_t *supply,
                                               const int64_t *demand, struct transport **problem);
void transport_free(struct transport *problem);

/* Solves for these costs per unit: cost[source * sinks + sink]. Solving again for other costs goes on from
 * the last solution, and is fast where they have changed little. */
MUST_CHECK enum transport_result transport_solve(struct transport *problem, const int64_t *cost);

/* Of the last solution. `flows` has room for sources + sinks, ordered by source, then sink. */
size_t transport_flows(const struct transport *problem, struct transport_flow *flows);
int64_t transport_cost(const struct transport *problem);
/* A lower bound on the cost of any plan, from prices that hold whether or not the method went right: equal to
 * the cost at the optimum. */
int64_t transport_bound(const struct transport *problem);

#endif
