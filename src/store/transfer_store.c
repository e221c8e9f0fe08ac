/* SPDX-License-Identifier: ISC */
/* The cups that a dispatch sent, and how many of them came or are lost. */
#include "sql.h"
#include "store/ledger_store.h"
#include "store/pg_ask.h"

/* All lines have the same parties and the same day. */
static void take_transfer_line(struct pg_row *row, void *into)
{
    struct transfer_open *line = into;
    struct transfer *transfer = row->shared;
    line->cup_type = row_int32(row);
    line->damaged = row_bool(row);
    line->sent = row_int(row);
    line->received = row_int(row);
    line->lost = row_int(row);
    if (row->index > 0) {
        row_skip_rest(row);
        return;
    }
    transfer->sender = row_int32(row);
    transfer->receiver = row_int32(row);
    transfer->business_date = row_date(row);
    transfer->home = row_int32_or_0(row);
}

enum store_result store_transfer(struct pg *pg, struct arena *arena, int32_t scheme, int64_t dispatch,
                                 struct transfer *transfer)
{
    *transfer = (struct transfer){0};
    enum store_result result =
        pg_ask(pg, &sql_transfer, PG_ARGS(arg_int(scheme), arg_int(dispatch)),
               PG_LIST(arena, take_transfer_line, transfer, &transfer->lines, &transfer->line_count));
    if (result == STORE_OK && transfer->line_count == 0)
        return STORE_FAILED; /* every dispatch has at least one line */
    return result;
}

enum store_result store_pair_hold(struct pg *pg, int32_t host, int32_t home, bool *held)
{
    return pg_ask(pg, &sql_pair_hold, PG_ARGS(arg_int(host), arg_int(home)), pg_one(NULL, take_bool, held));
}
