/* SPDX-License-Identifier: ISC */
/* One function per statement of a plan. */
#include "store/plan_store.h"

#include "sql.h"
#include "store/pg_ask.h"

#include <math.h>
#include <stdlib.h>

/* PostgreSQL writes the shortest text that is read as the same number. */
static bool take_degrees(struct pg_row *row, double *degrees)
{
    const char *text = row_text_or_null(row);
    *degrees = text != NULL ? strtod(text, NULL) : 0;
    row_check(row, isfinite(*degrees));
    return text != NULL;
}

static void take_site(struct pg_row *row, void *into)
{
    struct plan_site_row *site = into;
    site->site = row_int32(row);
    bool latitude = take_degrees(row, &site->at.latitude);
    bool longitude = take_degrees(row, &site->at.longitude);
    site->placed = latitude && longitude;
    site->ended = row_bool(row);
}

enum store_result store_plan_sites(struct pg *pg, struct arena *arena, int32_t scheme, struct date date,
                                   struct plan_site_row **sites, size_t *count)
{
    return pg_ask(pg, &sql_plan_sites, PG_ARGS(arg_int(scheme), arg_date(date)),
                  PG_LIST(arena, take_site, NULL, sites, count));
}

static void take_history(struct pg_row *row, struct plan_cell_row *cell)
{
    if (row_is_null(row)) {
        row_skip_rest(row);
        return;
    }
    cell->day = row_ints(row, &cell->days);
    cell->issued = row_ints_of(row, cell->days);
    cell->returned = row_ints_of(row, cell->days);
}

static void take_cell(struct pg_row *row, void *into)
{
    struct plan_cell_row *cell = into;
    cell->site = row_int32(row);
    cell->cup_type = row_int32(row);
    cell->stock = row_int(row);
    cell->states_par = !row_is_null(row);
    cell->par = row_int_or_0(row);
    cell->awaited = row_int(row);
    cell->promised = row_int(row);
    take_history(row, cell);
}

enum store_result store_plan_cells(struct pg *pg, struct arena *arena, int32_t scheme, struct plan_days days,
                                   struct plan_cell_row **cells, size_t *count)
{
    return pg_ask(
        pg, &sql_plan_cells,
        PG_ARGS(arg_int(scheme), arg_date(days.from), arg_date(days.to), arg_date_at(days.wanted_by)),
        PG_LIST(arena, take_cell, NULL, cells, count));
}
