/* SPDX-License-Identifier: ISC */
/* The relaxed plan: linear costs per box, and a transportation problem for each cup type. The cost per box of
 * a pair is that of its haul when it brings all that it can, of all types, to any use. So no hauls cost less
 * than the cheapest flows of all types together, which are a lower bound. */
#include "domain/hauls_relaxed.h"

#include "depositd/transport.h"

#include <assert.h>
#include <stdlib.h>

/* The highest cost per box of a haul, scaled. Far above it lies the cost where there is no way. */
#define DEAREST (TRANSPORT_COST_MAX / 100)
/* Costs per box are whole: this fine, where the dearest haul leaves room for it. */
#define FINEST INT64_C(65536)

static_assert(DEAREST >= RELAXED_HAUL_MAX, "costs per box are at least as fine as minor units");

struct relaxation {
    const struct trading *trading;
    int64_t scale;
    int64_t *slopes;          /* giver * takers + taker: the cost per box, scaled */
    uint32_t *rows, *columns; /* the givers and takers of the type at hand, as its problem numbers them */
    size_t row_count, column_count;
    int64_t *amounts, *costs; /* of its rows and columns, of its cells */
    struct flow *flows;
    size_t flow_count;
    int64_t bound; /* scaled */
};

static void find_slopes(struct relaxation *relaxation)
{
    const struct trading *trading = relaxation->trading;
    size_t pairs = trading->givers * trading->takers;
    int64_t dearest = 1;
    for (size_t pair = 0; pair < pairs; pair++)
        if (trading->cost[pair] > dearest && trading->cost[pair] != NO_WAY)
            dearest = trading->cost[pair];
    relaxation->scale = DEAREST / dearest < FINEST ? DEAREST / dearest : FINEST;
    for (size_t pair = 0; pair < pairs; pair++) {
        const int64_t *had = &trading->surplus[pair / trading->takers * trading->types];
        const int64_t *wanted = &trading->share[pair % trading->takers * trading->types];
        int64_t most = 0;
        for (size_t type = 0; type < trading->types; type++)
            most += had[type] < wanted[type] ? had[type] : wanted[type];
        most = most < trading->haul_boxes ? most : trading->haul_boxes;
        relaxation->slopes[pair] = trading->cost[pair] == NO_WAY || most == 0
                                       ? TRANSPORT_COST_MAX
                                       : trading->cost[pair] * relaxation->scale / most;
    }
}

static void find_rows(struct relaxation *relaxation, size_t type)
{
    const struct trading *trading = relaxation->trading;
    relaxation->row_count = relaxation->column_count = 0;
    for (size_t giver = 0; giver < trading->givers; giver++)
        if (trading->surplus[giver * trading->types + type] > 0) {
            relaxation->amounts[relaxation->row_count] = trading->surplus[giver * trading->types + type];
            relaxation->rows[relaxation->row_count++] = (uint32_t)giver;
        }
    int64_t *demand = relaxation->amounts + relaxation->row_count;
    for (size_t taker = 0; taker < trading->takers; taker++)
        if (trading->share[taker * trading->types + type] > 0) {
            demand[relaxation->column_count] = trading->share[taker * trading->types + type];
            relaxation->columns[relaxation->column_count++] = (uint32_t)taker;
        }
    for (size_t cell = 0; cell < relaxation->row_count * relaxation->column_count; cell++)
        relaxation->costs[cell] =
            relaxation->slopes[relaxation->rows[cell / relaxation->column_count] * trading->takers +
                               relaxation->columns[cell % relaxation->column_count]];
}

/* Flows where there is no way are left out: nobody brings these boxes. */
static bool keep_flows(struct relaxation *relaxation, const struct transport *problem, uint32_t type)
{
    const struct trading *trading = relaxation->trading;
    struct transport_flow *found =
        calloc(relaxation->row_count + relaxation->column_count + 1, sizeof *found);
    if (found == NULL)
        return false;
    size_t count = transport_flows(problem, found);
    for (size_t i = 0; i < count; i++) {
        uint32_t giver = relaxation->rows[found[i].source], taker = relaxation->columns[found[i].sink];
        if (trading->cost[giver * trading->takers + taker] != NO_WAY)
            relaxation->flows[relaxation->flow_count++] = (struct flow){giver, taker, type, found[i].amount};
    }
    free(found);
    return true;
}

static bool solve_type(struct relaxation *relaxation, uint32_t type)
{
    struct transport *problem;
    find_rows(relaxation, type);
    enum transport_result result =
        transport_new(relaxation->row_count, relaxation->column_count, relaxation->amounts,
                      relaxation->amounts + relaxation->row_count, &problem);
    if (result == TRANSPORT_OK)
        result = transport_solve(problem, relaxation->costs);
    bool kept = false;
    if (result == TRANSPORT_OK) {
        int64_t bound = transport_bound(problem);
        relaxation->bound = bound < INT64_MAX - relaxation->bound ? relaxation->bound + bound : INT64_MAX;
        kept = keep_flows(relaxation, problem, type);
    }
    transport_free(problem);
    assert(result == TRANSPORT_OK || result == TRANSPORT_NO_MEMORY);
    return kept;
}

bool hauls_relaxed(const struct trading *trading, struct hauls *hauls, struct money *bound)
{
    size_t pairs = trading->givers * trading->takers, nodes = trading->givers + trading->takers;
    struct relaxation relaxation = {
        .trading = trading,
        .slopes = calloc(pairs + 1, sizeof *relaxation.slopes),
        .costs = calloc(pairs + 1, sizeof *relaxation.costs),
        .rows = calloc(trading->givers + 1, sizeof *relaxation.rows),
        .columns = calloc(trading->takers + 1, sizeof *relaxation.columns),
        .amounts = calloc(nodes + 1, sizeof *relaxation.amounts),
        .flows = calloc(nodes * trading->types + 1, sizeof *relaxation.flows),
    };
    bool made = false;
    if (relaxation.slopes != NULL && relaxation.costs != NULL && relaxation.rows != NULL &&
        relaxation.columns != NULL && relaxation.amounts != NULL && relaxation.flows != NULL) {
        made = true;
        find_slopes(&relaxation);
    }
    for (uint32_t type = 0; type < trading->types && made; type++)
        made = solve_type(&relaxation, type);
    if (made) {
        /* Costs are whole minor units: the bound is rounded up. */
        int64_t whole = relaxation.bound / relaxation.scale;
        *bound = (struct money){whole + (whole * relaxation.scale < relaxation.bound)};
        made = hauls_gather(trading, relaxation.flows, relaxation.flow_count, hauls);
    }
    void *const owned[] = {relaxation.slopes,  relaxation.costs,   relaxation.rows,
                           relaxation.columns, relaxation.amounts, relaxation.flows};
    for (size_t i = 0; i < sizeof owned / sizeof owned[0]; i++)
        free(owned[i]);
    return made;
}
