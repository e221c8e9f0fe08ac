/* SPDX-License-Identifier: ISC */
/* From stock and par to hauls: the sites that give and take, the cost of each pair, the better of two plans.
 */
#include "depositd/moves.h"

#include "depositd/transport.h"
#include "domain/hauls_greedy.h"
#include "domain/hauls_relaxed.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static_assert(MOVES_HAUL_MAX <= RELAXED_HAUL_MAX && MOVES_BOXES_MAX <= TRANSPORT_SUPPLY_MAX &&
                  (int)MOVES_PAIRS_MAX <= (int)TRANSPORT_CELLS_MAX &&
                  (int)MOVES_SITES_MAX <= (int)TRANSPORT_NODES_MAX,
              "the problem of each type is small enough to be solved");

struct planner {
    const struct moves_question *question;
    struct trading trading;
    struct hauls hauls;
    struct moves_balance *cells, *types;
};

/* Boxes over and boxes lacking. False: too many. */
static bool find_balances(struct planner *planner)
{
    const struct moves_question *question = planner->question;
    int64_t surplus = 0, need = 0;
    for (size_t i = 0; i < question->sites * question->types; i++) {
        const struct moves_cell *cell = &question->cells[i];
        struct moves_balance *balance = &planner->cells[i], *sum = &planner->types[i % question->types];
        int64_t box = question->box[i % question->types], more;
        if (!cell->takes_part)
            continue;
        if (__builtin_sub_overflow(cell->stock, cell->par, &more) || more < -INT64_MAX)
            return false;
        balance->surplus = more > 0 ? more / box : 0;
        balance->need = more < 0 ? (-more - 1) / box + 1 : 0;
        if (balance->surplus > MOVES_BOXES_MAX - surplus || balance->need > MOVES_BOXES_MAX - need)
            return false;
        surplus += balance->surplus;
        need += balance->need;
        sum->surplus += balance->surplus;
        sum->need += balance->need;
    }
    return true;
}

struct remainder {
    uint64_t part;
    uint32_t site;
};

static int by_remainder(const void *left, const void *right)
{
    const struct remainder *a = left, *b = right;
    if (a->part != b->part)
        return a->part > b->part ? -1 : 1;
    return a->site < b->site ? -1 : 1;
}

/* Shares what there is of a type: in proportion to need, and what is left over by the largest remainders. */
static void share_out(struct planner *planner, size_t type, struct remainder *remainders)
{
    const struct moves_question *question = planner->question;
    uint64_t had = (uint64_t)planner->types[type].surplus, needed = (uint64_t)planner->types[type].need;
    uint64_t shared = 0;
    if (needed == 0)
        return;
    for (size_t site = 0; site < question->sites; site++) {
        struct moves_balance *cell = &planner->cells[site * question->types + type];
        uint64_t quota = (uint64_t)cell->need * (had < needed ? had : needed);
        cell->share = (int64_t)(quota / needed);
        shared += quota / needed;
        remainders[site] = (struct remainder){quota % needed, (uint32_t)site};
    }
    qsort(remainders, question->sites, sizeof *remainders, by_remainder);
    for (size_t i = 0; shared < had && shared < needed; i++, shared++)
        planner->cells[remainders[i].site * question->types + type].share++;
    planner->types[type].share = (int64_t)shared;
}

/* The sites of the givers and takers, and their boxes. False: no memory. */
static bool find_trading(struct planner *planner)
{
    const struct moves_question *question = planner->question;
    struct trading *trading = &planner->trading;
    size_t types = question->types;
    trading->types = types;
    trading->haul_boxes = question->terms.haul_boxes > 0 ? question->terms.haul_boxes : INT64_MAX;
    trading->giver = calloc(question->sites + 1, sizeof *trading->giver);
    trading->taker = calloc(question->sites + 1, sizeof *trading->taker);
    trading->surplus = calloc(question->sites * types + 1, sizeof *trading->surplus);
    trading->share = calloc(question->sites * types + 1, sizeof *trading->share);
    if (trading->giver == NULL || trading->taker == NULL || trading->surplus == NULL ||
        trading->share == NULL)
        return false;
    for (size_t site = 0; site < question->sites; site++) {
        bool gives = false, takes = false;
        for (size_t type = 0; type < types; type++) {
            const struct moves_balance *cell = &planner->cells[site * types + type];
            trading->surplus[trading->givers * types + type] = cell->surplus;
            trading->share[trading->takers * types + type] = cell->share;
            gives = gives || (cell->surplus > 0 && planner->types[type].share > 0);
            takes = takes || cell->share > 0;
        }
        if (gives)
            trading->giver[trading->givers++] = (uint32_t)site;
        if (takes)
            trading->taker[trading->takers++] = (uint32_t)site;
    }
    return true;
}

static double site_distance(const struct moves_question *question, size_t from, size_t to)
{
    const struct moves_site *a = &question->site[from], *b = &question->site[to];
    return a->placed && b->placed ? distance_m(a->at, b->at) : -1;
}

static int by_pair(const void *left, const void *right)
{
    const struct moves_price *a = left, *b = right;
    if (a->from != b->from)
        return a->from < b->from ? -1 : 1;
    return a->to < b->to ? -1 : a->to > b->to;
}

static int64_t haul_cost(const struct moves_question *question, uint32_t from, uint32_t to)
{
    struct moves_price pair = {.from = from, .to = to};
    const struct moves_price *stated =
        question->price_count == 0
            ? NULL
            : bsearch(&pair, question->prices, question->price_count, sizeof pair, by_pair);
    if (stated != NULL)
        return stated->cost.minor;
    double metres = site_distance(question, from, to);
    if (metres < 0 || from == to)
        return NO_WAY;
    return question->terms.per_stop.minor + llround((double)question->terms.per_km.minor * metres / 1000);
}

static enum moves_result find_costs(struct planner *planner)
{
    struct trading *trading = &planner->trading;
    size_t pairs = trading->givers * trading->takers;
    if (pairs > MOVES_PAIRS_MAX || pairs * trading->types > MOVES_WORK_MAX)
        return MOVES_TOO_LARGE;
    trading->cost = calloc(pairs + 1, sizeof *trading->cost);
    if (trading->cost == NULL)
        return MOVES_NO_MEMORY;
    for (size_t pair = 0; pair < pairs; pair++) {
        int64_t cost = haul_cost(planner->question, trading->giver[pair / trading->takers],
                                 trading->taker[pair % trading->takers]);
        if (cost < 0 || (cost > MOVES_HAUL_MAX && cost != NO_WAY))
            return MOVES_TOO_LARGE;
        trading->cost[pair] = cost;
    }
    return MOVES_OK;
}

/* Two plans, each made cheaper by exchanges. The one that brings more boxes is taken, then the cheaper one.
 * False: no memory. */
static bool plan_hauls(struct planner *planner, struct money *bound)
{
    const struct trading *trading = &planner->trading;
    struct hauls greedy = {0};
    bool made = hauls_relaxed(trading, &planner->hauls, bound) && hauls_greedy(trading, &greedy);
    if (made) {
        hauls_improve(trading, &planner->hauls);
        hauls_improve(trading, &greedy);
        int64_t more = hauls_boxes(&greedy) - hauls_boxes(&planner->hauls);
        if (more > 0 || (more == 0 && hauls_cost(trading, &greedy) < hauls_cost(trading, &planner->hauls))) {
            struct hauls other = planner->hauls;
            planner->hauls = greedy;
            greedy = other;
        }
    }
    hauls_dispose(&greedy);
    return made;
}

/* A bound on bringing just the boxes that the hauls bring, if these are fewer than the shares. False: no
 * memory. */
static bool find_bound(struct planner *planner, struct money *bound)
{
    struct trading *trading = &planner->trading;
    const struct hauls *hauls = &planner->hauls;
    struct hauls unused = {0};
    int64_t shared = 0;
    for (size_t i = 0; i < trading->takers * trading->types; i++)
        shared += trading->share[i];
    if (shared == hauls_boxes(hauls))
        return true;
    memset(trading->share, 0, trading->takers * trading->types * sizeof *trading->share);
    for (size_t i = 0; i < hauls->count * trading->types; i++)
        trading->share[hauls->hauls[i / trading->types].taker * trading->types + i % trading->types] +=
            hauls->boxes[i];
    bool made = hauls_relaxed(trading, &unused, bound);
    hauls_dispose(&unused);
    return made;
}

static int by_from_to(const void *left, const void *right)
{
    const struct moves_shipment *a = left, *b = right;
    if (a->from != b->from)
        return a->from < b->from ? -1 : 1;
    return a->to < b->to ? -1 : a->to > b->to;
}

static void write_shipment(struct planner *planner, size_t haul, struct moves *moves)
{
    const struct trading *trading = &planner->trading;
    const struct haul *at = &planner->hauls.hauls[haul];
    uint32_t from = trading->giver[at->giver], to = trading->taker[at->taker];
    struct moves_shipment *made = &moves->shipments[moves->shipment_count++];
    *made = (struct moves_shipment){
        .from = from,
        .to = to,
        .hauls = hauls_times(trading, at->total),
        .distance_m = site_distance(planner->question, from, to),
        .cost = {hauls_times(trading, at->total) * trading->cost[at->giver * trading->takers + at->taker]},
        .first_line = moves->line_count,
    };
    for (size_t type = 0; type < trading->types; type++) {
        int64_t boxes = planner->hauls.boxes[haul * trading->types + type];
        if (boxes == 0)
            continue;
        moves->lines[moves->line_count++] = (struct moves_line){(uint32_t)type, boxes};
        made->line_count++;
        moves->cells[from * trading->types + type].sent += boxes;
        moves->cells[to * trading->types + type].received += boxes;
        moves->types[type].sent += boxes;
        moves->types[type].received += boxes;
    }
}

static enum moves_result write_moves(struct planner *planner, struct moves *moves)
{
    const struct hauls *hauls = &planner->hauls;
    moves->shipments = calloc(hauls->count + 1, sizeof *moves->shipments);
    moves->lines = calloc(hauls->count * planner->trading.types + 1, sizeof *moves->lines);
    if (moves->shipments == NULL || moves->lines == NULL)
        return MOVES_NO_MEMORY;
    moves->cells = planner->cells;
    moves->types = planner->types;
    planner->cells = planner->types = NULL;
    for (size_t i = 0; i < hauls->count; i++)
        if (hauls->hauls[i].total > 0)
            write_shipment(planner, i, moves);
    qsort(moves->shipments, moves->shipment_count, sizeof *moves->shipments, by_from_to);
    moves->cost = (struct money){hauls_cost(&planner->trading, hauls)};
    return MOVES_OK;
}

static enum moves_result plan(struct planner *planner, struct moves *moves)
{
    const struct moves_question *question = planner->question;
    struct remainder *remainders = calloc(question->sites + 1, sizeof *remainders);
    planner->cells = calloc(question->sites * question->types + 1, sizeof *planner->cells);
    planner->types = calloc(question->types + 1, sizeof *planner->types);
    bool allocated = remainders != NULL && planner->cells != NULL && planner->types != NULL;
    bool fits = allocated && find_balances(planner);
    for (size_t type = 0; type < question->types && fits; type++)
        share_out(planner, type, remainders);
    free(remainders);
    if (!fits)
        return allocated ? MOVES_TOO_LARGE : MOVES_NO_MEMORY;
    if (!find_trading(planner))
        return MOVES_NO_MEMORY;
    enum moves_result result = find_costs(planner);
    if (result != MOVES_OK)
        return result;
    if (!plan_hauls(planner, &moves->bound))
        return MOVES_NO_MEMORY;
    hauls_drop_small(&planner->trading, &planner->hauls, question->box, question->terms.minimum_load.count);
    return find_bound(planner, &moves->bound) ? write_moves(planner, moves) : MOVES_NO_MEMORY;
}

static void planner_dispose(struct planner *planner)
{
    struct trading *trading = &planner->trading;
    void *const owned[] = {planner->cells,   planner->types, trading->giver, trading->taker,
                           trading->surplus, trading->share, trading->cost};
    for (size_t i = 0; i < sizeof owned / sizeof owned[0]; i++)
        free(owned[i]);
    hauls_dispose(&planner->hauls);
}

enum moves_result moves_plan(const struct moves_question *question, struct moves *moves)
{
    *moves = (struct moves){0};
    if (question->sites > MOVES_SITES_MAX || question->types > MOVES_TYPES_MAX ||
        question->terms.per_km.minor > MOVES_HAUL_MAX || question->terms.per_stop.minor > MOVES_HAUL_MAX)
        return MOVES_TOO_LARGE;
    struct planner planner = {.question = question};
    enum moves_result result = plan(&planner, moves);
    planner_dispose(&planner);
    if (result != MOVES_OK)
        moves_dispose(moves);
    return result;
}

void moves_dispose(struct moves *moves)
{
    free(moves->shipments);
    free(moves->lines);
    free(moves->cells);
    free(moves->types);
    *moves = (struct moves){0};
}

double moves_gap(const struct moves *moves)
{
    return moves->cost.minor == 0
               ? 0
               : (double)(moves->cost.minor - moves->bound.minor) / (double)moves->cost.minor;
}
