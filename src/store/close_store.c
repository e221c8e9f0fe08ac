/* SPDX-License-Identifier: ISC */
/* One function per statement of the close. */
#include "store/close_store.h"

#include "sql.h"

/* Most statements of a close are about a day of a scheme. */
static enum store_result query_day(struct pg *pg, const struct sql *sql, int32_t scheme, struct date date,
                                   struct pg_rows **rows)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_date(&params, date);
    return pg_query(pg, sql, &params, rows);
}

/* And must touch just one row. */
static enum store_result change_day(struct pg *pg, const struct sql *sql, int32_t scheme, struct date date)
{
    PG_ROWS rows = NULL;
    enum store_result result = query_day(pg, sql, scheme, date, &rows);
    if (result == STORE_OK && pg_affected(rows) != 1)
        return STORE_FAILED;
    return result;
}

enum store_result store_close_lock(struct pg *pg, int32_t scheme)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    return pg_query(pg, &sql_close_lock, &params, NULL);
}

enum store_result store_close_cut(struct pg *pg, int32_t scheme, struct date date)
{
    return change_day(pg, &sql_close_cut, scheme, date);
}

enum store_result store_closing_sites(struct pg *pg, struct arena *arena, int32_t scheme, struct date date,
                                      struct closing_site **sites, size_t *count)
{
    PG_ROWS rows = NULL;
    enum store_result result = query_day(pg, &sql_close_sites, scheme, date, &rows);
    if (result != STORE_OK)
        return result;
    *count = (size_t)pg_row_count(rows);
    *sites = arena_array(arena, *count + 1, sizeof **sites);
    if (*sites == NULL)
        return STORE_FAILED;
    for (int i = 0; i < pg_row_count(rows); i++)
        (*sites)[i] = (struct closing_site){
            .site = (int32_t)pg_int(rows, i, 0),
            .participant = (int32_t)pg_int(rows, i, 1),
            .open = pg_bool(rows, i, 2),
            .clearing = {pg_int(rows, i, 3)},
            .issued = {pg_int(rows, i, 4)},
            .returned = {pg_int(rows, i, 5)},
        };
    return STORE_OK;
}

enum store_result store_closing_reversed(struct pg *pg, struct arena *arena, int32_t scheme, struct date date,
                                         struct reversed_row **reversed, size_t *count)
{
    PG_ROWS rows = NULL;
    enum store_result result = query_day(pg, &sql_close_reversed, scheme, date, &rows);
    if (result != STORE_OK)
        return result;
    *count = (size_t)pg_row_count(rows);
    *reversed = arena_array(arena, *count + 1, sizeof **reversed);
    if (*reversed == NULL)
        return STORE_FAILED;
    for (int i = 0; i < pg_row_count(rows); i++)
        (*reversed)[i] = (struct reversed_row){
            .site = (int32_t)pg_int(rows, i, 0),
            .business_date = date,
            .original_date = pg_date(rows, i, 1),
            .issued = pg_int(rows, i, 2),
            .returned = pg_int(rows, i, 3),
        };
    return STORE_OK;
}

enum store_result store_closing_participants(struct pg *pg, struct arena *arena, int32_t scheme,
                                             struct date date, struct closing_participant **participants,
                                             size_t *count)
{
    PG_ROWS rows = NULL;
    enum store_result result = query_day(pg, &sql_close_participants, scheme, date, &rows);
    if (result != STORE_OK)
        return result;
    *count = (size_t)pg_row_count(rows);
    *participants = arena_array(arena, *count + 1, sizeof **participants);
    if (*participants == NULL)
        return STORE_FAILED;
    for (int i = 0; i < pg_row_count(rows); i++)
        (*participants)[i] = (struct closing_participant){
            .participant = (int32_t)pg_int(rows, i, 0),
            .arrears = {pg_int(rows, i, 1)},
            .carried = !pg_is_null(rows, i, 2),
            .carried_since = pg_date(rows, i, 2),
            .exceptions = {pg_int(rows, i, 3)},
            .bank_account_changed = pg_bool(rows, i, 5),
        };
    return STORE_OK;
}

enum store_result store_holidays(struct pg *pg, struct arena *arena, int32_t scheme, struct date after,
                                 struct date **holidays, size_t *count)
{
    PG_ROWS rows = NULL;
    enum store_result result = query_day(pg, &sql_close_holidays, scheme, after, &rows);
    if (result != STORE_OK)
        return result;
    *count = (size_t)pg_row_count(rows);
    *holidays = arena_array(arena, *count + 1, sizeof **holidays);
    if (*holidays == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < *count; i++)
        (*holidays)[i] = pg_date(rows, (int)i, 0);
    return STORE_OK;
}

enum store_result store_cups_through(struct pg *pg, struct arena *arena, int32_t scheme, struct date date,
                                     struct leg **balances, size_t *count)
{
    PG_ROWS rows = NULL;
    enum store_result result = query_day(pg, &sql_close_cups, scheme, date, &rows);
    if (result != STORE_OK)
        return result;
    *count = (size_t)pg_row_count(rows);
    *balances = arena_array(arena, *count + 1, sizeof **balances);
    if (*balances == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < *count; i++)
        (*balances)[i] = (struct leg){{pg_int(rows, (int)i, 0)}, pg_int(rows, (int)i, 1)};
    return STORE_OK;
}

enum store_result store_close_balances(struct pg *pg, int32_t scheme, struct date date)
{
    return query_day(pg, &sql_close_balances, scheme, date, NULL);
}

enum store_result store_close_day(struct pg *pg, int32_t scheme, struct date date)
{
    return change_day(pg, &sql_close_day, scheme, date);
}

enum store_result store_previous_seal(struct pg *pg, int32_t scheme, struct sha256 *seal)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    *seal = (struct sha256){0};
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    enum store_result result = pg_query(pg, &sql_close_previous_seal, &params, &rows);
    if (result == STORE_OK && pg_row_count(rows) > 0)
        pg_bytes(rows, 0, 0, seal->bytes, sizeof seal->bytes);
    return result;
}

enum store_result store_add_settlement(struct pg *pg, const struct settlement_row *settlement)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, settlement->scheme);
    pg_add_date(&params, settlement->date);
    pg_add_instant(&params, settlement->closed_at);
    pg_add_int(&params, settlement->closed_by);
    pg_add_int(&params, (int64_t)settlement->entries);
    pg_add_bytes(&params, settlement->root.bytes, SHA256_SIZE);
    pg_add_bytes(&params, settlement->previous.bytes, SHA256_SIZE);
    pg_add_bytes(&params, settlement->seal.bytes, SHA256_SIZE);
    return pg_query(pg, &sql_close_settlement, &params, NULL);
}

enum store_result store_add_positions(struct pg *pg, struct arena *arena, int32_t scheme, struct date date,
                                      const struct position_row *positions, size_t count)
{
    struct pg_params params;
    int32_t *participants = arena_array(arena, count + 1, sizeof *participants);
    int64_t *amounts = arena_array(arena, count + 1, sizeof *amounts);
    int64_t *arrears = arena_array(arena, count + 1, sizeof *arrears);
    bool *carried = arena_array(arena, count + 1, sizeof *carried);
    struct date *since = arena_array(arena, count + 1, sizeof *since);
    if (participants == NULL || amounts == NULL || arrears == NULL || carried == NULL || since == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < count; i++) {
        participants[i] = positions[i].participant;
        amounts[i] = positions[i].amount.minor;
        arrears[i] = positions[i].arrears.minor;
        carried[i] = positions[i].carried;
        since[i] = positions[i].carried_since;
    }
    pg_params_init(&params, arena);
    pg_add_int(&params, scheme);
    pg_add_date(&params, date);
    pg_add_int4_array(&params, participants, count);
    pg_add_int8_array(&params, amounts, count);
    pg_add_int8_array(&params, arrears, count);
    pg_add_bool_array(&params, carried, count);
    pg_add_date_array(&params, since, count);
    return pg_query(pg, &sql_close_positions, &params, NULL);
}

enum store_result store_add_payments(struct pg *pg, struct arena *arena, int32_t scheme, struct date date,
                                     struct date due_on, const struct payment_row *payments, size_t count)
{
    struct pg_params params;
    const char **ids = arena_array(arena, count + 1, sizeof *ids);
    int32_t *payers = arena_array(arena, count + 1, sizeof *payers);
    int32_t *payees = arena_array(arena, count + 1, sizeof *payees);
    int64_t *amounts = arena_array(arena, count + 1, sizeof *amounts);
    const char **held = arena_array(arena, count + 1, sizeof *held);
    if (ids == NULL || payers == NULL || payees == NULL || amounts == NULL || held == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < count; i++) {
        ids[i] = payments[i].payment_id;
        payers[i] = payments[i].payer;
        payees[i] = payments[i].payee;
        amounts[i] = payments[i].amount.minor;
        held[i] = payments[i].held;
    }
    pg_params_init(&params, arena);
    pg_add_int(&params, scheme);
    pg_add_date(&params, date);
    pg_add_date(&params, due_on);
    pg_add_text_array(&params, ids, count);
    pg_add_int4_array(&params, payers, count);
    pg_add_int4_array(&params, payees, count);
    pg_add_int8_array(&params, amounts, count);
    pg_add_text_array(&params, held, count);
    return pg_query(pg, &sql_close_payments, &params, NULL);
}

enum store_result store_close_work(struct pg *pg, struct arena *arena, struct instant now,
                                   struct instant reach, struct close_work **work, size_t *count)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_instant(&params, now);
    pg_add_instant(&params, reach);
    enum store_result result = pg_query(pg, &sql_close_work, &params, &rows);
    if (result != STORE_OK)
        return result;
    *count = (size_t)pg_row_count(rows);
    *work = arena_array(arena, *count + 1, sizeof **work);
    if (*work == NULL)
        return STORE_FAILED;
    for (int i = 0; i < pg_row_count(rows); i++)
        (*work)[i] = (struct close_work){
            .scheme = (int32_t)pg_int(rows, i, 0),
            .extend = pg_bool(rows, i, 2),
            .due = !pg_is_null(rows, i, 3),
            .date = pg_date(rows, i, 3),
            .code = arena_copy(arena, pg_text(rows, i, 1), pg_length(rows, i, 1)),
            .has_open = !pg_is_null(rows, i, 4),
            .due_at = pg_instant(rows, i, 4),
            .open_days = pg_int(rows, i, 5),
            .has_closed = !pg_is_null(rows, i, 6),
            .closed_at = pg_instant(rows, i, 6),
        };
    for (size_t i = 0; i < *count; i++)
        if ((*work)[i].code == NULL)
            return STORE_FAILED;
    return STORE_OK;
}
