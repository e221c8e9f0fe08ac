/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/remaking_store.h"

#include "sql.h"
#include "store/pg_ask.h"

static void take_state(struct pg_row *row, void *into)
{
    struct remaking_state *state = into;
    state->number = row_int(row);
    state->as_said = row_bool(row);
    state->is_withdrawn = row_bool(row);
    state->withdrawn_so = row_bool(row);
    state->is_supplied = row_bool(row);
}

enum store_result store_remaking_find(struct pg *pg, const struct remaking_batch *batch,
                                      struct remaking_state *state)
{
    *state = (struct remaking_state){0};
    return pg_ask(pg, &sql_remaking_batch_find,
                  PG_ARGS(arg_int(batch->scheme), arg_text(batch->code), arg_id(batch->site),
                          arg_date(batch->sent_on), arg_text(batch->remaker), arg_int(batch->weight_g),
                          arg_int4s(ARRAY(batch->cup_types, batch->line_count)),
                          arg_int8s(ARRAY(batch->quantities, batch->line_count)), arg_int(batch->key),
                          arg_text(batch->reason)),
                  pg_one(NULL, take_state, state));
}

enum store_result store_remaking_left(struct pg *pg, const struct remaking_batch *batch, int64_t *left)
{
    return pg_ask(pg, &sql_remaking_batch_left,
                  PG_ARGS(arg_int(batch->scheme), arg_int(batch->site),
                          arg_int4s(ARRAY(batch->cup_types, batch->line_count))),
                  pg_fill(take_int, left, sizeof *left, batch->line_count));
}

enum store_result store_remaking_add(struct pg *pg, const struct remaking_batch *batch)
{
    return pg_run(pg, &sql_remaking_batch_add,
                  PG_ARGS(arg_int(batch->scheme), arg_text(batch->code), arg_int(batch->site),
                          arg_date(batch->sent_on), arg_text(batch->remaker), arg_int(batch->weight_g),
                          arg_instant(batch->now), arg_int(batch->key),
                          arg_int4s(ARRAY(batch->cup_types, batch->line_count)),
                          arg_int8s(ARRAY(batch->quantities, batch->line_count))));
}

enum store_result store_remaking_withdraw(struct pg *pg, const struct remaking_batch *batch, int64_t number)
{
    return pg_run(pg, &sql_remaking_batch_withdraw,
                  PG_ARGS(arg_int(batch->scheme), arg_int(number), arg_instant(batch->now),
                          arg_int(batch->key), arg_text(batch->reason)));
}

enum store_result store_retired_in_batch(struct pg *pg, int32_t scheme, int64_t entry, bool *in_batch)
{
    return pg_ask(pg, &sql_retired_in_batch, PG_ARGS(arg_int(scheme), arg_int(entry)),
                  pg_one(NULL, take_bool, in_batch));
}

enum store_result store_batch_stands(struct pg *pg, int32_t scheme, const char *code, bool *stands)
{
    return pg_ask(pg, &sql_batch_stands, PG_ARGS(arg_int(scheme), arg_text(code)),
                  pg_one(NULL, take_bool, stands));
}

enum store_result read_remaking_batches(struct pg *pg, int32_t scheme, struct list_slice *slice)
{
    return read_list_way(pg, SQL_WAYS(sql_remaking_batches_list),
                         PG_ARGS(arg_int(scheme), arg_int(slice->after), arg_limit(slice->limit)), slice);
}

enum store_result read_remaking_batch(struct pg *pg, int32_t scheme, const char *code, struct buffer *json,
                                      bool *found)
{
    return pg_ask(pg, &sql_remaking_batch_get, PG_ARGS(arg_int(scheme), arg_text(code)),
                  pg_maybe(NULL, take_text, json, found));
}
