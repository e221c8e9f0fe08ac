/* SPDX-License-Identifier: ISC */
/* One function per statement: its arrays, and its row for each item. */
#include "store/agreement_store.h"

#include "sql.h"
#include "store/pg_ask.h"
#include "store/reference_columns.h"

static void take_party(struct pg_row *row, struct agreement_party *party)
{
    party->currency = row_copy_or_null(row);
    party->decimals = row_int32_or_0(row);
}

static void take_facts(struct pg_row *row, void *into)
{
    struct agreement_facts *facts = into;
    take_party(row, &facts->home);
    take_party(row, &facts->host);
    facts->posted_or_closed = row_bool(row);
    facts->starts_in_time = row_bool(row);
    facts->other_currency = row_copy_or_null(row);
}

enum store_result store_agreement_facts(struct pg *pg, struct arena *arena, struct reference_items agreements,
                                        struct agreement_facts *facts)
{
    size_t count = agreements.count;
    const struct agreement_row *rows = column_rows(arena, agreements, sizeof *rows);
    struct pg_answer answer = pg_fill(take_facts, facts, sizeof *facts, count);
    answer.arena = arena;
    return pg_ask(pg, &sql_reference_facts_agreement,
                  PG_ARGS(arg_codes(COLUMN(rows, count, home)), arg_codes(COLUMN(rows, count, host)),
                          arg_dates(COLUMN(rows, count, effective_date)),
                          arg_texts(COLUMN(rows, count, currency))),
                  answer);
}

/* The amount of a cup type, with the place of its agreement, from 1. */
struct listed_value {
    int64_t place;
    struct agreement_value_row value;
};

static struct listed_value *list_values(struct arena *arena, const struct signed_agreement *rows,
                                        size_t agreements, size_t *count)
{
    size_t filled = 0;
    *count = 0;
    for (size_t i = 0; rows != NULL && i < agreements; i++)
        *count += rows[i].row.values.count;
    struct listed_value *listed = arena_array(arena, *count, sizeof *listed);
    for (size_t i = 0; rows != NULL && listed != NULL && i < agreements; i++) {
        const struct agreement_value_row *values = rows[i].row.values.items;
        for (size_t k = 0; k < rows[i].row.values.count; k++)
            listed[filled++] = (struct listed_value){(int64_t)i + 1, values[k]};
    }
    return listed;
}

enum store_result store_put_agreements(struct pg *pg, struct arena *arena, struct reference_items items,
                                       struct reference_differing *differing)
{
    size_t count = items.count, value_count;
    const struct signed_agreement *rows = column_rows(arena, items, sizeof *rows);
    const struct listed_value *values = list_values(arena, rows, count, &value_count);
    return pg_ask(
        pg, &sql_reference_put_agreement,
        PG_ARGS(arg_codes(COLUMN(rows, count, row.home)), arg_codes(COLUMN(rows, count, row.host)),
                arg_dates(COLUMN(rows, count, row.effective_date)),
                arg_bools(COLUMN(rows, count, in_host_currency)), arg_int8s(COLUMN(rows, count, rate.e12)),
                arg_int4s(COLUMN(rows, count, home_signed_by)),
                arg_int4s(COLUMN(rows, count, host_signed_by)), arg_int8s(COLUMN(values, value_count, place)),
                arg_codes(COLUMN(values, value_count, value.cup_type)),
                arg_int8s(COLUMN(values, value_count, value.amount.unscaled))),
        PG_LIST(arena, take_int, NULL, &differing->items, &differing->count));
}
