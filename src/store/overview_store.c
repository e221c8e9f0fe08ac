/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/overview_store.h"

#include "sql.h"
#include "store/pg_ask.h"

static struct money row_money(struct pg_row *row)
{
    return (struct money){row_int(row)};
}

static void take_money(struct pg_row *row, void *into)
{
    struct overview_money *money = into;
    money->scheme = row_int32(row);
    money->today = row_date(row);
    money->surplus = row_money(row);
    money->late_events = row_int(row);
    money->late_from = row_date_or(row, (struct date){0});
    money->to_collect = row_money(row);
    money->to_pay = row_money(row);
    money->overdue = row_int(row);
    money->arrears_to_pool = row_money(row);
    money->arrears_of_pool = row_money(row);
}

enum store_result read_overview(struct pg *pg, struct arena *arena, const int32_t *schemes, size_t count,
                                struct overview_money **rows, size_t *row_count)
{
    return pg_ask(pg, &sql_overview, PG_ARGS(arg_int4s(ARRAY(schemes, count))),
                  PG_LIST(arena, take_money, NULL, rows, row_count));
}
