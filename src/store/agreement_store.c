/* SPDX-License-Identifier: ISC */
/* One function per statement: its parameters in their order, and its row. */
#include "store/agreement_store.h"

#include "sql.h"
#include "store/pg_ask.h"

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
    facts->unknown_cup_types = row_ints(row, &facts->unknown_cup_type_count);
}

enum store_result store_agreement_facts(struct pg *pg, struct arena *arena, const struct agreement_row *row,
                                        struct agreement_facts *facts)
{
    const struct agreement_value_row *values = row->values.items;
    return pg_ask(pg, &sql_reference_facts_agreement,
                  PG_ARGS(arg_text(row->home), arg_text(row->host), arg_date(row->effective_date),
                          arg_codes(COLUMN(values, row->values.count, cup_type))),
                  pg_one(arena, take_facts, facts));
}

enum store_result store_put_agreement(struct pg *pg, const struct agreement_row *row,
                                      const struct agreement_signed *as_signed, bool *changed)
{
    const struct agreement_value_row *values = row->values.items;
    int64_t count = 0;
    enum store_result result =
        pg_ask(pg, &sql_reference_put_agreement,
               PG_ARGS(arg_text(row->home), arg_text(row->host), arg_date(row->effective_date),
                       arg_bool(as_signed->in_host_currency), arg_int(as_signed->rate.e12),
                       arg_codes(COLUMN(values, row->values.count, cup_type)),
                       arg_int8s(COLUMN(values, row->values.count, amount.unscaled)),
                       arg_id(as_signed->home_signed_by), arg_id(as_signed->host_signed_by)),
               pg_touched(&count));
    *changed = *changed || count > 0;
    return result;
}
