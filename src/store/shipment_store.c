/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/shipment_store.h"

#include "sql.h"
#include "store/pg_ask.h"

enum store_result store_shipments_add(struct pg *pg, int32_t scheme, int32_t key, struct instant now,
                                      const struct shipment_row *rows, size_t count)
{
    return pg_run(pg, &sql_shipments_add,
                  PG_ARGS(arg_int(scheme), arg_uuids(COLUMN(rows, count, id)),
                          arg_bytes_array(rows->digest.bytes, SHA256_SIZE, count, sizeof *rows),
                          arg_int4s(COLUMN(rows, count, sender)), arg_int4s(COLUMN(rows, count, receiver)),
                          arg_dates(COLUMN(rows, count, wanted_on)), arg_texts(COLUMN(rows, count, note)),
                          arg_texts(COLUMN(rows, count, bearer)), arg_instant(now), arg_int(key)));
}

enum store_result store_shipment_cups_add(struct pg *pg, int32_t scheme, const struct shipment_cups_row *rows,
                                          size_t count)
{
    return pg_run(pg, &sql_shipment_lines_add,
                  PG_ARGS(arg_int(scheme), arg_uuids(COLUMN(rows, count, shipment)),
                          arg_int4s(COLUMN(rows, count, cup_type)), arg_bools(COLUMN(rows, count, damaged)),
                          arg_int8s(COLUMN(rows, count, cups))));
}

static void take_known(struct pg_row *row, void *into)
{
    struct known_shipment *known = into;
    known->place = row_int(row);
    row_bytes(row, known->digest.bytes, SHA256_SIZE);
}

enum store_result store_shipments_known(struct pg *pg, struct arena *arena, int32_t scheme,
                                        const struct shipment_row *rows, size_t count,
                                        struct known_shipments *known)
{
    return pg_ask(pg, &sql_shipments_known, PG_ARGS(arg_int(scheme), arg_uuids(COLUMN(rows, count, id))),
                  PG_LIST(arena, take_known, NULL, &known->items, &known->count));
}

static void take_standing(struct pg_row *row, void *into)
{
    struct shipment_standing *standing = into;
    standing->scheme = row_int32(row);
    standing->number = row_int(row);
    standing->to_send = row_bool(row);
    standing->withdrawn = row_bool(row);
    standing->withdrawn_by = row_int32_or_0(row);
    standing->why = row_copy_or_null(row);
    standing->receiving = row_int32(row);
}

enum store_result store_shipment_find(struct pg *pg, struct arena *arena, const struct uuid *id,
                                      int32_t scheme, struct shipment_standing *standing, size_t *found)
{
    *found = 0;
    return pg_ask(pg, &sql_shipment_find, PG_ARGS(arg_uuid(id), arg_id(scheme)),
                  pg_first(arena, take_standing, standing, found));
}

enum store_result store_shipment_withdraw(struct pg *pg, const struct shipment_standing *standing,
                                          struct instant now)
{
    return pg_run(pg, &sql_shipment_withdraw,
                  PG_ARGS(arg_int(standing->scheme), arg_int(standing->number), arg_instant(now),
                          arg_int(standing->withdrawn_by), arg_text(standing->why)));
}

static void take_bearer(struct pg_row *row, void *into)
{
    static const char *const words[] = {
#define X(name, word) #word,
        BEARER_TABLE(X)
#undef X
    };
    enum bearer *bearer = into;
    *bearer = (enum bearer)(row_word(row, words, sizeof words / sizeof words[0]) + 1);
}

enum store_result store_shipment_bearer(struct pg *pg, int32_t scheme, int64_t dispatch, enum bearer *bearer)
{
    bool found = false;
    *bearer = BEARER_NONE;
    return pg_ask(pg, &sql_shipment_bearer, PG_ARGS(arg_int(scheme), arg_int(dispatch)),
                  pg_maybe(NULL, take_bearer, bearer, &found));
}

/* --- reading ------------------------------------------------------------------------------------------- */

enum store_result read_shipments(struct pg *pg, const struct shipments_filter *filter,
                                 struct list_slice *slice)
{
    return read_list_way(pg, SQL_WAYS(sql_shipments_list),
                         PG_ARGS(arg_int(filter->scheme), arg_int(slice->after), arg_limit(slice->limit),
                                 arg_sites(&filter->visible), arg_id(filter->site), arg_text(filter->list),
                                 arg_bool_at(filter->overdue)),
                         slice);
}

enum store_result read_shipment(struct pg *pg, const struct uuid *id, int32_t scheme,
                                const struct visible_sites *visible, struct buffer *json, size_t *found)
{
    return pg_ask(pg, &sql_shipment_get, PG_ARGS(arg_uuid(id), arg_id(scheme), arg_sites(visible)),
                  pg_first(NULL, take_text, json, found));
}

enum store_result read_packing_list(struct pg *pg, const struct uuid *id, int32_t scheme,
                                    const struct visible_sites *visible, struct buffer *json, size_t *found)
{
    return pg_ask(pg, &sql_packing_list, PG_ARGS(arg_uuid(id), arg_id(scheme), arg_sites(visible)),
                  pg_first(NULL, take_text, json, found));
}

enum store_result read_counter_shipments(struct pg *pg, int32_t site, int most, struct buffer *json)
{
    return pg_ask(pg, &sql_counter_shipments, PG_ARGS(arg_int(site), arg_int(most)),
                  pg_one(NULL, take_text, json));
}
