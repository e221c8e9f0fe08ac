/* SPDX-License-Identifier: ISC */
/* Reads, measures the past of each site and cup type, and has the domain find the quantities. */
#include "app/cups/purchases.h"

#include "store/purchase_store.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { PURCHASES_ARENA_MAX = 256 << 20, SECONDS_OF_DAY = 86400 };

const char *purchase_estimate_word(enum purchase_estimate estimate)
{
    static const char *const words[] = {
#define X(name, word) [PURCHASE_##name] = word,
        PURCHASE_ESTIMATE_TABLE(X)
#undef X
    };
    assert(estimate < PURCHASE_ESTIMATES);
    return words[estimate];
}

const char *time_out_by_word(enum time_out_by by)
{
    static const char *const words[] = {
#define X(name, word) [TIME_OUT_##name] = word,
        TIME_OUT_TABLE(X)
#undef X
    };
    assert(by < TIME_OUTS);
    return words[by];
}

/* The cups of a type that all sites issued on each day of the history. */
struct type_days {
    double issued[PLAN_HISTORY_DAYS];
    int32_t first; /* day on which any were; PLAN_HISTORY_DAYS: none */
};

struct buying {
    const struct purchase_question *question;
    struct purchases *purchases;
    struct plan_site_row *sites;
    size_t site_count;
    struct plan_cell_row *cells;
    size_t cell_count;
    struct purchase_type_row *rows;
    size_t row_count;
    struct type_days *days; /* by cup type id */
};

static enum store_result load(struct pg *pg, struct buying *buying)
{
    struct purchases *purchases = buying->purchases;
    int32_t scheme = buying->question->scheme->id, today = buying->question->today.days;
    purchases->to = (struct date){today - 1};
    purchases->from = (struct date){today - PLAN_HISTORY_DAYS};
    const struct plan_days days = {purchases->from, purchases->to, NULL};
    enum store_result result = store_plan_sites(pg, &purchases->arena, scheme, buying->question->today,
                                                &buying->sites, &buying->site_count);
    if (result == STORE_OK)
        result = store_plan_cells(pg, &purchases->arena, scheme, days, &buying->cells, &buying->cell_count);
    if (result == STORE_OK)
        result = store_purchase_types(pg, &purchases->arena, scheme, days, &buying->rows, &buying->row_count);
    return result;
}

/* Things that are newer than the snapshot wait for the next request. */
static const struct cup_type *type_of(const struct buying *buying, int32_t id)
{
    const struct network *network = buying->question->network;
    const struct cup_type *type = id < network->cup_type_ids ? network->cup_type_by_id[id] : NULL;
    return buying->question->only == NULL || type == buying->question->only ? type : NULL;
}

static const struct site *site_of(const struct buying *buying, int32_t id)
{
    const struct network *network = buying->question->network;
    return id < network->site_ids ? network->site_by_id[id] : NULL;
}

/* --- sites --------------------------------------------------------------------------------------------- */

static bool add_days(struct buying *buying)
{
    size_t count = (size_t)buying->question->network->cup_type_ids + 1;
    buying->days = arena_array(&buying->purchases->arena, count, sizeof *buying->days);
    if (buying->days == NULL)
        return false;
    for (size_t i = 0; i < count; i++)
        buying->days[i] = (struct type_days){.first = PLAN_HISTORY_DAYS};
    for (size_t i = 0; i < buying->cell_count; i++) {
        const struct plan_cell_row *cell = &buying->cells[i];
        if (type_of(buying, cell->cup_type) == NULL)
            continue;
        struct type_days *days = &buying->days[cell->cup_type];
        for (size_t k = 0; k < cell->days; k++) {
            if (cell->day[k] < 0 || cell->day[k] >= PLAN_HISTORY_DAYS || cell->issued[k] <= 0)
                continue;
            days->issued[cell->day[k]] += (double)cell->issued[k];
            days->first = cell->day[k] < days->first ? (int32_t)cell->day[k] : days->first;
        }
    }
    return true;
}

static void find_par(const struct buying *buying, const struct plan_cell_row *cell,
                     struct purchase_site *site)
{
    double issued[PLAN_HISTORY_DAYS];
    size_t days = cup_plan_series(cell, cell->issued, issued);
    site->basis = days == 0 ? PLAN_NO_DEMAND : PLAN_UNKNOWN;
    if (days > 0) {
        const struct date first = {buying->purchases->to.days - (int32_t)days + 1};
        site->demand = purchase_demand(issued, days, first);
    }
    if (days >= PURCHASE_SITE_DAYS_MIN) {
        site->basis = PLAN_FORECAST;
        site->par = purchase_par(&site->demand, &buying->question->terms);
    }
    if (cell->states_par && (site->basis != PLAN_FORECAST || cell->par >= site->par)) {
        site->basis = PLAN_STATED;
        site->par = cell->par;
    }
}

static int by_site(const void *left, const void *right)
{
    const struct purchase_site *a = left, *b = right;
    int site = strcmp(a->site->code, b->site->code);
    return site != 0 ? site : strcmp(a->cup_type->code, b->cup_type->code);
}

/* Sites and cells come by site id. A site that has ended hands out nothing any more. */
static bool find_sites(struct buying *buying)
{
    struct purchases *purchases = buying->purchases;
    size_t at = 0;
    purchases->sites = arena_array(&purchases->arena, buying->cell_count + 1, sizeof *purchases->sites);
    if (purchases->sites == NULL)
        return false;
    for (size_t i = 0; i < buying->cell_count; i++) {
        const struct plan_cell_row *cell = &buying->cells[i];
        while (at < buying->site_count && buying->sites[at].site < cell->site)
            at++;
        struct purchase_site site = {.site = site_of(buying, cell->site),
                                     .cup_type = type_of(buying, cell->cup_type)};
        if (at == buying->site_count || buying->sites[at].site != cell->site || buying->sites[at].ended ||
            site.site == NULL || site.cup_type == NULL)
            continue;
        find_par(buying, cell, &site);
        if (site.basis != PLAN_NO_DEMAND)
            purchases->sites[purchases->site_count++] = site;
    }
    qsort(purchases->sites, purchases->site_count, sizeof *purchases->sites, by_site);
    return true;
}

/* --- cup types ----------------------------------------------------------------------------------------- */

static double mean_of(const double *cups, size_t days)
{
    double sum = 0;
    for (size_t i = 0; i < days; i++)
        sum += cups[i];
    return sum / (double)days;
}

/* The latter half of the history, in whole weeks, is long enough after a start: the first cups that went out
 * then are back, or lost. */
static int64_t never_returned(const struct purchase_type_row *row, const struct type_days *days,
                              const struct purchase_type *type)
{
    size_t weeks = type->demand.days / 2 / WEEKDAYS, moment = PLAN_HISTORY_DAYS - weeks * WEEKDAYS;
    struct purchase_change change = {
        .demand_then = mean_of(days->issued + moment - PURCHASE_WINDOW, PURCHASE_WINDOW),
        .demand_now = mean_of(days->issued + PLAN_HISTORY_DAYS - PURCHASE_WINDOW, PURCHASE_WINDOW),
        .time_out = type->time_out,
        .days = weeks * WEEKDAYS,
        .of_days = type->demand.days};
    for (size_t week = 0; week < weeks && week < row->weeks; week++)
        change.more_out += row->more_out[week];
    return purchase_never_returned(&change);
}

static void find_time_out(const struct purchase_type_row *row, struct purchase_type *type)
{
    if (row->known_cups >= PURCHASE_TRIPS_MIN) {
        type->time_out_by = TIME_OUT_KNOWN_CUPS;
        type->time_out_trips = row->known_cups;
        type->time_out = (double)row->known_seconds / SECONDS_OF_DAY / (double)row->known_cups;
    } else if (row->queue_cups > 0) {
        type->time_out_by = TIME_OUT_IN_ORDER;
        type->time_out_trips = row->queue_cups;
        type->time_out = (double)row->queue_days / (double)row->queue_cups;
    }
}

static enum purchase_estimate estimate_of(const struct purchase_type *type)
{
    return type->demand.days == 0                  ? PURCHASE_NO_DEMAND
           : type->demand.days < PURCHASE_DAYS_MIN ? PURCHASE_TOO_SHORT
           : type->time_out_by == TIME_OUT_UNKNOWN ? PURCHASE_NO_RETURNS
                                                   : PURCHASE_MADE;
}

static void add_sites(const struct purchases *purchases, struct purchase_type *type)
{
    for (size_t i = 0; i < purchases->site_count; i++) {
        const struct purchase_site *site = &purchases->sites[i];
        if (site->cup_type != type->cup_type)
            continue;
        type->par += site->par;
        type->sites_unknown += site->basis == PLAN_UNKNOWN;
    }
}

static void buy(const struct buying *buying, const struct purchase_type_row *row, struct purchase_type *type)
{
    const struct purchase_question *question = buying->question;
    type->losses =
        (struct purchase_losses){.damaged = row->retired + row->damaged,
                                 .missing = row->unaccounted - row->forfeited,
                                 .forfeited = row->forfeited,
                                 .never_returned = never_returned(row, &buying->days[row->cup_type], type)};
    type->lost = purchase_lost(&type->losses);
    type->loss_rate = question->states_loss_rate ? (double)question->loss_rate.ppm / PPM
                                                 : purchase_loss_rate(type->lost, type->issued);
    const struct purchase_facts facts = {.demand = type->demand.mean,
                                         .time_out = type->time_out,
                                         .loss_rate = type->loss_rate,
                                         .par = type->par,
                                         .at_sites = row->at_sites,
                                         .on_road = row->on_road,
                                         .with_customers = row->with_customers,
                                         .counts_all_out = type->time_out_by == TIME_OUT_IN_ORDER};
    type->purchase = purchase_make(&facts, &question->terms);
}

static struct purchase_type make_type(const struct buying *buying, const struct purchase_type_row *row)
{
    const struct type_days *days = &buying->days[row->cup_type];
    struct purchase_type type = {.cup_type = type_of(buying, row->cup_type),
                                 .mass_g = row->mass_g,
                                 .supplied = row->supplied,
                                 .trips = row->returned,
                                 .at_sites = row->at_sites,
                                 .on_road = row->on_road,
                                 .with_customers = row->with_customers};
    if (days->first < PLAN_HISTORY_DAYS) {
        size_t count = (size_t)(PLAN_HISTORY_DAYS - days->first);
        type.demand = purchase_demand(days->issued + days->first, count,
                                      (struct date){buying->purchases->from.days + days->first});
        type.issued = llround(type.demand.mean * (double)count);
    }
    find_time_out(row, &type);
    add_sites(buying->purchases, &type);
    type.estimate = estimate_of(&type);
    if (type.estimate == PURCHASE_MADE)
        buy(buying, row, &type);
    return type;
}

static int by_type(const void *left, const void *right)
{
    const struct purchase_type *a = left, *b = right;
    return strcmp(a->cup_type->code, b->cup_type->code);
}

static bool find_types(struct buying *buying)
{
    struct purchases *purchases = buying->purchases;
    purchases->types = arena_array(&purchases->arena, buying->row_count + 1, sizeof *purchases->types);
    if (purchases->types == NULL)
        return false;
    for (size_t i = 0; i < buying->row_count; i++)
        if (type_of(buying, buying->rows[i].cup_type) != NULL)
            purchases->types[purchases->type_count++] = make_type(buying, &buying->rows[i]);
    qsort(purchases->types, purchases->type_count, sizeof *purchases->types, by_type);
    return true;
}

enum store_result purchases_make(struct pg *pg, const struct purchase_question *question,
                                 struct purchases *purchases)
{
    struct buying buying = {.question = question, .purchases = purchases};
    *purchases = (struct purchases){0};
    arena_init(&purchases->arena, PURCHASES_ARENA_MAX);
    enum store_result result = load(pg, &buying);
    if (result != STORE_OK)
        return result;
    return add_days(&buying) && find_sites(&buying) && find_types(&buying) ? STORE_OK : STORE_FAILED;
}

void purchases_dispose(struct purchases *purchases)
{
    arena_dispose(&purchases->arena);
}
