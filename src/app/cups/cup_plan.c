/* SPDX-License-Identifier: ISC */
/* Reads, asks the domain, and puts its figures beside sites and cup types. */
#include "app/cups/cup_plan.h"

#include "store/plan_store.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { PLAN_ARENA_MAX = 256 << 20, NO_INDEX = -1 };

const char *plan_basis_word(enum plan_basis basis)
{
    static const char *const words[] = {
#define X(name, word) [PLAN_##name] = word,
        PLAN_BASIS_TABLE(X)
#undef X
    };
    assert(basis < PLAN_BASES);
    return words[basis];
}

struct planning {
    const struct cup_plan_question *question;
    struct cup_plan *plan;
    struct plan_site_row *sites;
    size_t site_count;
    struct plan_cell_row *rows;
    size_t row_count;
    int32_t *place_of, *type_of; /* by site id, by cup type id; NO_INDEX: none */
};

static enum store_result load(struct pg *pg, struct planning *planning)
{
    const struct cup_plan_question *question = planning->question;
    struct cup_plan *plan = planning->plan;
    plan->to = (struct date){question->today.days - 1};
    plan->from = (struct date){question->today.days - PLAN_HISTORY_DAYS};
    plan->leave = question->date;
    if (question->date.days > question->today.days)
        plan->leave.days--;
    enum store_result result = store_plan_sites(pg, &plan->arena, question->scheme->id, question->date,
                                                &planning->sites, &planning->site_count);
    if (result == STORE_OK)
        result = store_plan_cells(pg, &plan->arena, question->scheme->id,
                                  (struct plan_days){plan->from, plan->to, &plan->leave}, &planning->rows,
                                  &planning->row_count);
    return result;
}

static int by_place(const void *left, const void *right)
{
    const struct cup_plan_place *a = left, *b = right;
    return strcmp(a->site->code, b->site->code);
}

static int by_type(const void *left, const void *right)
{
    const struct cup_plan_type *a = left, *b = right;
    return strcmp(a->cup_type->code, b->cup_type->code);
}

static int by_cell(const void *left, const void *right)
{
    const struct cup_plan_cell *a = left, *b = right;
    int site = strcmp(a->site->code, b->site->code);
    return site != 0 ? site : strcmp(a->cup_type->code, b->cup_type->code);
}

static bool index_new(struct arena *arena, int32_t ids, int32_t **index)
{
    *index = arena_array(arena, (size_t)ids, sizeof **index);
    for (int32_t id = 0; id < ids && *index != NULL; id++)
        (*index)[id] = NO_INDEX;
    return *index != NULL;
}

/* The places in the order of their codes. False: no memory. */
static bool find_places(struct planning *planning)
{
    const struct network *network = planning->question->network;
    struct cup_plan *plan = planning->plan;
    plan->places = arena_array(&plan->arena, planning->site_count + 1, sizeof *plan->places);
    if (plan->places == NULL || !index_new(&plan->arena, network->site_ids, &planning->place_of))
        return false;
    for (size_t i = 0; i < planning->site_count; i++) {
        const struct plan_site_row *row = &planning->sites[i];
        /* A site that is newer than the snapshot waits for the next plan. */
        if (row->site < network->site_ids && network->site_by_id[row->site] != NULL)
            plan->places[plan->place_count++] = (struct cup_plan_place){
                .site = network->site_by_id[row->site], .placed = row->placed, .at = row->at};
    }
    qsort(plan->places, plan->place_count, sizeof *plan->places, by_place);
    for (size_t i = 0; i < plan->place_count; i++)
        planning->place_of[plan->places[i].site->id] = (int32_t)i;
    return true;
}

/* The cup types that any site has to do with, in the order of their codes. False: no memory. */
static bool find_types(struct planning *planning)
{
    const struct network *network = planning->question->network;
    struct cup_plan *plan = planning->plan;
    plan->types = arena_array(&plan->arena, (size_t)network->cup_type_ids + 1, sizeof *plan->types);
    if (plan->types == NULL || !index_new(&plan->arena, network->cup_type_ids, &planning->type_of))
        return false;
    for (size_t i = 0; i < planning->row_count; i++) {
        int32_t id = planning->rows[i].cup_type;
        if (id >= network->cup_type_ids || network->cup_type_by_id[id] == NULL ||
            planning->type_of[id] != NO_INDEX)
            continue;
        planning->type_of[id] = 0;
        plan->types[plan->type_count++] = (struct cup_plan_type){.cup_type = network->cup_type_by_id[id],
                                                                 .box = planning->question->box[id]};
    }
    qsort(plan->types, plan->type_count, sizeof *plan->types, by_type);
    for (size_t i = 0; i < plan->type_count; i++)
        planning->type_of[plan->types[i].cup_type->id] = (int32_t)i;
    return true;
}

size_t cup_plan_series(const struct plan_cell_row *row, const int64_t *cups, double series[PLAN_HISTORY_DAYS])
{
    double all[PLAN_HISTORY_DAYS] = {0};
    int64_t first = PLAN_HISTORY_DAYS;
    for (size_t i = 0; i < row->days; i++) {
        if (row->day[i] < 0 || row->day[i] >= PLAN_HISTORY_DAYS)
            continue;
        all[row->day[i]] = cups[i] > 0 ? (double)cups[i] : 0;
        if (row->issued[i] > 0 && row->day[i] < first)
            first = row->day[i];
    }
    for (int64_t day = first; day < PLAN_HISTORY_DAYS; day++)
        series[day - first] = all[day];
    return (size_t)(PLAN_HISTORY_DAYS - first);
}

/* The cups that come in less those that go out on the days after today and before the first that is planned
 * for. The rest of today is not foreseen. */
static int64_t expected_change(const struct planning *planning, const struct plan_cell_row *row)
{
    int32_t between = planning->question->date.days - planning->question->today.days - 1;
    double issued[PLAN_HISTORY_DAYS], returned[PLAN_HISTORY_DAYS];
    struct forecast out, in;
    if (between < 1)
        return 0;
    const struct forecast_span span = {.ahead = 2, .days = (unsigned)between};
    size_t days = cup_plan_series(row, row->issued, issued);
    bool known = cup_plan_series(row, row->returned, returned) == days &&
                 forecast_make(issued, days, span, &out) && forecast_make(returned, days, span, &in);
    return known ? llround(in.expected - out.expected) : 0;
}

static void foresee(const struct planning *planning, const struct plan_cell_row *row,
                    struct cup_plan_cell *cell)
{
    const struct cup_plan_question *question = planning->question;
    const struct forecast_span span = {.ahead = (unsigned)(question->date.days - question->today.days + 1),
                                       .days = question->days};
    double issued[PLAN_HISTORY_DAYS];
    struct forecast forecast;
    size_t days = cup_plan_series(row, row->issued, issued);
    cell->basis = days == 0 ? PLAN_NO_DEMAND : PLAN_UNKNOWN;
    if (days == 0 || !forecast_make(issued, days, span, &forecast))
        return;
    cell->basis = PLAN_FORECAST;
    cell->foreseen = true;
    cell->method = forecast.model.method;
    cell->expected = forecast.expected;
    cell->error = forecast.error;
    cell->error_last_week = forecast.error_last_week;
    cell->par = forecast_par(&forecast, question->service_level, &cell->par_basis);
}

/* Far beyond all cups, and so small that a few of them can be added up. */
static int64_t bounded(int64_t cups)
{
    const int64_t most = INT64_MAX / 8;
    return cups > most ? most : cups < -most ? -most : cups;
}

/* Cups that are promised to others are gone, also those that have yet to come. Cups on their way fill a site
 * up to its par stock; they are no surplus, because nobody can send what has not come. A site that then
 * lacks cups for its promises owes them: it needs them besides its par stock. Demand that it could not meet
 * is lost, and owed to nobody. */
static void expect_stock(const struct planning *planning, const struct plan_cell_row *row, bool ended,
                         struct cup_plan_cell *cell)
{
    int64_t stock = bounded(row->stock > 0 ? row->stock : 0), promised = bounded(row->promised);
    int64_t expected = stock + bounded(expected_change(planning, row)) - promised;
    int64_t lack = bounded(cell->par) - expected, awaited = bounded(row->awaited);
    if (lack > 0)
        expected += awaited < lack ? awaited : lack;
    cell->expected_stock = expected > 0 ? expected : 0;
    if (expected < 0 && !ended) /* an ended site gets nothing any more */
        cell->owed = -expected < promised ? -expected : promised;
}

static struct cup_plan_cell make_cell(const struct planning *planning, const struct plan_cell_row *row,
                                      bool ended)
{
    struct cup_plan_cell cell = {.site = planning->question->network->site_by_id[row->site],
                                 .cup_type = planning->question->network->cup_type_by_id[row->cup_type],
                                 .stock = row->stock,
                                 .awaited = row->awaited,
                                 .promised = row->promised};
    cell.basis = PLAN_NO_DEMAND;
    if (!ended) /* else it hands out nothing any more */
        foresee(planning, row, &cell);
    if (!ended && row->states_par && (!cell.foreseen || row->par >= cell.par)) {
        cell.basis = PLAN_STATED;
        cell.par = row->par;
    }
    expect_stock(planning, row, ended, &cell);
    return cell;
}

static bool find_cells(struct planning *planning)
{
    struct cup_plan *plan = planning->plan;
    const struct network *network = planning->question->network;
    size_t site = 0;
    plan->cells = arena_array(&plan->arena, planning->row_count + 1, sizeof *plan->cells);
    if (plan->cells == NULL)
        return false;
    for (size_t i = 0; i < planning->row_count; i++) {
        const struct plan_cell_row *row = &planning->rows[i];
        while (site < planning->site_count && planning->sites[site].site < row->site)
            site++;
        if (site < planning->site_count && planning->sites[site].site == row->site &&
            row->site < network->site_ids && planning->place_of[row->site] != NO_INDEX &&
            row->cup_type < network->cup_type_ids && planning->type_of[row->cup_type] != NO_INDEX)
            plan->cells[plan->cell_count++] = make_cell(planning, row, planning->sites[site].ended);
    }
    qsort(plan->cells, plan->cell_count, sizeof *plan->cells, by_cell);
    return true;
}

/* The question to the domain: sites are the places, types the types. */
struct asked {
    struct moves_question question;
    struct moves_site *sites;
    struct moves_cell *cells;
    int64_t *box;
    struct moves_price *prices;
};

static size_t cell_index(const struct planning *planning, const struct cup_plan_cell *cell)
{
    return (size_t)planning->place_of[cell->site->id] * planning->plan->type_count +
           (size_t)planning->type_of[cell->cup_type->id];
}

static int by_pair(const void *left, const void *right)
{
    const struct moves_price *a = left, *b = right;
    if (a->from != b->from)
        return a->from < b->from ? -1 : 1;
    return a->to < b->to ? -1 : a->to > b->to;
}

/* Prices name sites by id; those of sites that take no part are left out. */
static void place_prices(const struct planning *planning, struct asked *asked)
{
    const struct cup_plan_question *question = planning->question;
    for (size_t i = 0; i < question->price_count; i++) {
        int32_t from = planning->place_of[question->prices[i].from];
        int32_t to = planning->place_of[question->prices[i].to];
        if (from != NO_INDEX && to != NO_INDEX)
            asked->prices[asked->question.price_count++] =
                (struct moves_price){(uint32_t)from, (uint32_t)to, question->prices[i].cost};
    }
    if (asked->question.price_count > 0)
        qsort(asked->prices, asked->question.price_count, sizeof *asked->prices, by_pair);
}

/* False: no memory. */
static bool make_question(struct planning *planning, struct asked *asked)
{
    struct cup_plan *plan = planning->plan;
    struct arena *arena = &plan->arena;
    asked->sites = arena_array(arena, plan->place_count + 1, sizeof *asked->sites);
    asked->cells = arena_array(arena, plan->place_count * plan->type_count + 1, sizeof *asked->cells);
    asked->box = arena_array(arena, plan->type_count + 1, sizeof *asked->box);
    asked->prices = arena_array(arena, planning->question->price_count + 1, sizeof *asked->prices);
    if (asked->sites == NULL || asked->cells == NULL || asked->box == NULL || asked->prices == NULL)
        return false;
    for (size_t i = 0; i < plan->place_count; i++)
        asked->sites[i] = (struct moves_site){plan->places[i].placed, plan->places[i].at};
    for (size_t i = 0; i < plan->type_count; i++)
        asked->box[i] = plan->types[i].box;
    for (size_t i = 0; i < plan->cell_count; i++) {
        const struct cup_plan_cell *cell = &plan->cells[i];
        asked->cells[cell_index(planning, cell)] =
            (struct moves_cell){cell->basis != PLAN_UNKNOWN || cell->owed > 0, cell->expected_stock,
                                bounded(cell->par) + cell->owed};
    }
    asked->question = (struct moves_question){.sites = plan->place_count,
                                              .types = plan->type_count,
                                              .site = asked->sites,
                                              .cells = asked->cells,
                                              .box = asked->box,
                                              .terms = planning->question->terms,
                                              .prices = asked->prices};
    place_prices(planning, asked);
    return true;
}

/* Puts the domain's figures beside the cells and the types. */
static void take_figures(const struct planning *planning)
{
    struct cup_plan *plan = planning->plan;
    for (size_t i = 0; i < plan->type_count; i++)
        plan->types[i].boxes = plan->moves.types[i];
    for (size_t i = 0; i < plan->cell_count; i++) {
        struct cup_plan_cell *cell = &plan->cells[i];
        struct cup_plan_type *type = &plan->types[planning->type_of[cell->cup_type->id]];
        cell->boxes = plan->moves.cells[cell_index(planning, cell)];
        if (!cell->foreseen)
            continue;
        type->expected += cell->expected;
        type->error += cell->error;
        type->error_last_week += cell->error_last_week;
        type->sites[cell->method]++;
    }
}

enum store_result cup_plan_make(struct pg *pg, const struct cup_plan_question *question,
                                struct cup_plan *plan, struct faults *faults)
{
    struct planning planning = {.question = question, .plan = plan};
    struct asked asked;
    *plan = (struct cup_plan){0};
    arena_init(&plan->arena, PLAN_ARENA_MAX);
    enum store_result result = load(pg, &planning);
    if (result != STORE_OK)
        return result;
    if (!find_places(&planning) || !find_types(&planning) || !find_cells(&planning) ||
        !make_question(&planning, &asked))
        return STORE_FAILED;
    enum moves_result planned = moves_plan(&asked.question, &plan->moves);
    if (planned == MOVES_TOO_LARGE)
        faults_add(faults, REASON_OUT_OF_RANGE, NULL, "The plan has too many sites, cups, or too high costs");
    else if (planned == MOVES_OK)
        take_figures(&planning);
    return planned == MOVES_NO_MEMORY ? STORE_FAILED : STORE_OK;
}

void cup_plan_dispose(struct cup_plan *plan)
{
    moves_dispose(&plan->moves);
    arena_dispose(&plan->arena);
}
