/* SPDX-License-Identifier: ISC */
/* One function per statement of the close. */
#include "store/close_store.h"

#include "sql.h"
#include "store/leg_rows.h"
#include "store/pg_ask.h"

/* Most statements of a close are about a day of a scheme. */
#define DAY_ARGS(scheme, date) PG_ARGS(arg_int(scheme), arg_date(date))

enum store_result store_close_lock(struct pg *pg, int32_t scheme)
{
    return pg_run(pg, &sql_close_lock, PG_ARGS(arg_int(scheme)));
}

enum store_result store_close_try_lock(struct pg *pg, int32_t scheme, bool *held)
{
    return pg_ask(pg, &sql_close_lock_free, PG_ARGS(arg_int(scheme)), pg_one(NULL, take_bool, held));
}

enum store_result store_close_cut(struct pg *pg, int32_t scheme, struct date date, struct instant now)
{
    return pg_ask(pg, &sql_close_cut, PG_ARGS(arg_int(scheme), arg_date(date), arg_instant(now)),
                  pg_touches_one());
}

static void take_site(struct pg_row *row, void *into)
{
    struct closing_site *site = into;
    site->site = row_int32(row);
    site->participant = row_int32(row);
    site->open = row_bool(row);
    site->clearing.minor = row_int(row);
}

enum store_result store_closing_sites(struct pg *pg, struct arena *arena, int32_t scheme, struct date date,
                                      struct closing_site **sites, size_t *count)
{
    return pg_ask(pg, &sql_close_sites, DAY_ARGS(scheme, date),
                  PG_LIST(arena, take_site, NULL, sites, count));
}

static void take_counted(struct pg_row *row, void *into)
{
    struct counted_row *counted = into;
    counted->site = row_int32(row);
    counted->fee_date = row_date(row);
    counted->cup_type = row_int32(row);
    counted->issued.count = row_int(row);
    counted->returned.count = row_int(row);
}

enum store_result store_closing_counted(struct pg *pg, struct arena *arena, int32_t scheme, struct date date,
                                        struct counted_row **counted, size_t *count)
{
    return pg_ask(pg, &sql_close_counted, DAY_ARGS(scheme, date),
                  PG_LIST(arena, take_counted, NULL, counted, count));
}

enum store_result store_closing_counted_types(struct pg *pg, struct arena *arena, int32_t scheme,
                                              struct date date, struct counted_row **counted, size_t *count)
{
    return pg_ask(pg, &sql_close_counted_types, DAY_ARGS(scheme, date),
                  PG_LIST(arena, take_counted, NULL, counted, count));
}

static void take_participant(struct pg_row *row, void *into)
{
    struct closing_participant *participant = into;
    participant->participant = row_int32(row);
    participant->arrears.minor = row_int(row);
    participant->was_small = !row_is_null(row);
    participant->small_since = row_date_or(row, DATE_OPEN_ENDED);
    participant->exceptions.minor = row_int(row);
    row_skip(row); /* its bank account */
    participant->bank_account_changed = row_bool_or_false(row);
    participant->first_payout = row_bool(row);
}

enum store_result store_closing_participants(struct pg *pg, struct arena *arena, int32_t scheme,
                                             struct unpaid_days days,
                                             struct closing_participant **participants, size_t *count)
{
    return pg_ask(pg, &sql_close_participants,
                  PG_ARGS(arg_int(scheme), arg_date(days.through), arg_date(days.from)),
                  PG_LIST(arena, take_participant, NULL, participants, count));
}

static void take_date(struct pg_row *row, void *into)
{
    *(struct date *)into = row_date(row);
}

enum store_result store_holidays(struct pg *pg, struct arena *arena, int32_t scheme, struct date after,
                                 struct date **holidays, size_t *count)
{
    return pg_ask(pg, &sql_close_holidays, DAY_ARGS(scheme, after),
                  PG_LIST(arena, take_date, NULL, holidays, count));
}

enum store_result store_cups_through(struct pg *pg, struct arena *arena, int32_t scheme, struct date date,
                                     struct leg **balances, size_t *count)
{
    return pg_ask(pg, &sql_close_cups, DAY_ARGS(scheme, date),
                  PG_LIST(arena, take_leg, NULL, balances, count));
}

enum store_result store_close_balances(struct pg *pg, int32_t scheme, struct date date)
{
    return pg_run(pg, &sql_close_balances, DAY_ARGS(scheme, date));
}

enum store_result store_close_day(struct pg *pg, int32_t scheme, struct date date)
{
    return pg_ask(pg, &sql_close_day, DAY_ARGS(scheme, date), pg_touches_one());
}

static void take_seal(struct pg_row *row, void *into)
{
    struct sha256 *seal = into;
    row_bytes(row, seal->bytes, sizeof seal->bytes);
}

enum store_result store_previous_seal(struct pg *pg, int32_t scheme, struct sha256 *seal)
{
    *seal = (struct sha256){0};
    return pg_ask(pg, &sql_close_previous_seal, PG_ARGS(arg_int(scheme)),
                  pg_maybe(NULL, take_seal, seal, NULL));
}

enum store_result store_add_settlement(struct pg *pg, const struct settlement_row *settlement)
{
    return pg_run(pg, &sql_close_settlement,
                  PG_ARGS(arg_int(settlement->scheme), arg_date(settlement->date),
                          arg_instant(settlement->closed_at), arg_int(settlement->closed_by),
                          arg_int((int64_t)settlement->entries),
                          arg_bytes(settlement->root.bytes, SHA256_SIZE),
                          arg_bytes(settlement->previous.bytes, SHA256_SIZE),
                          arg_bytes(settlement->seal.bytes, SHA256_SIZE)));
}

enum store_result store_add_positions(struct pg *pg, int32_t scheme, struct date date,
                                      const struct position_row *positions, size_t count)
{
    return pg_run(pg, &sql_close_positions,
                  PG_ARGS(arg_int(scheme), arg_date(date), arg_int4s(COLUMN(positions, count, participant)),
                          arg_int8s(COLUMN(positions, count, amount.minor)),
                          arg_int8s(COLUMN(positions, count, arrears.minor)),
                          arg_bools(COLUMN(positions, count, carrying.carried)),
                          arg_bools(COLUMN(positions, count, carrying.small)),
                          arg_dates(COLUMN(positions, count, carrying.small_since))));
}

enum store_result store_add_fee_lines(struct pg *pg, int32_t scheme, struct date date,
                                      const struct fee_line *lines, size_t count)
{
    return pg_run(pg, &sql_close_fees,
                  PG_ARGS(arg_int(scheme), arg_date(date), arg_int4s(COLUMN(lines, count, site)),
                          arg_texts(COLUMN(lines, count, word)), arg_dates(COLUMN(lines, count, terms)),
                          arg_int4s(COLUMN(lines, count, row)), arg_int4s(COLUMN(lines, count, tax_rate.ppm)),
                          arg_int8s(COLUMN(lines, count, quantity.count)),
                          arg_int8s(COLUMN(lines, count, each.minor))));
}

enum store_result store_close_fee_notes(struct pg *pg, int32_t scheme, struct date date)
{
    return pg_run(pg, &sql_close_fee_notes, PG_ARGS(arg_int(scheme), arg_date(date)));
}

enum store_result store_add_payments(struct pg *pg, int32_t scheme, struct date date, struct date due_on,
                                     const struct payment_row *payments, size_t count)
{
    return pg_run(
        pg, &sql_close_payments,
        PG_ARGS(arg_int(scheme), arg_date(date), arg_date(due_on),
                arg_codes(COLUMN(payments, count, payment_id)), arg_int4s(COLUMN(payments, count, payer)),
                arg_int4s(COLUMN(payments, count, payee)), arg_int8s(COLUMN(payments, count, amount.minor)),
                arg_texts(COLUMN(payments, count, held))));
}

enum store_result store_add_pool_payments(struct pg *pg, int32_t scheme, struct date date, struct date due_on,
                                          const struct payment_row *payments, size_t count)
{
    return pg_run(pg, &sql_close_pool_payments,
                  PG_ARGS(arg_int(scheme), arg_date(date), arg_date(due_on),
                          arg_codes(COLUMN(payments, count, payment_id)),
                          arg_int4s(COLUMN(payments, count, host)),
                          arg_int8s(COLUMN(payments, count, amount.minor)),
                          arg_int8s(COLUMN(payments, count, agreed.minor)),
                          arg_bools(COLUMN(payments, count, in_host_currency)),
                          arg_int8s(COLUMN(payments, count, host_booked.minor))));
}

static void take_between(struct pg_row *row, void *into)
{
    struct payment_row *due = into;
    due->host = row_int32(row);
    due->amount.minor = row_int(row);
    due->agreed.minor = row_int(row);
    due->host_booked.minor = row_int(row);
    due->in_host_currency = row_bool(row);
}

enum store_result store_between_due(struct pg *pg, struct arena *arena, int32_t scheme, struct date date,
                                    struct payment_row **due, size_t *count)
{
    return pg_ask(pg, &sql_close_between, DAY_ARGS(scheme, date),
                  PG_LIST(arena, take_between, NULL, due, count));
}

static void take_work(struct pg_row *row, void *into)
{
    struct close_work *work = into;
    work->scheme = row_int32(row);
    work->code = row_copy(row);
    work->extend = row_bool(row);
    work->due = !row_is_null(row);
    work->date = row_date_or(row, DATE_OPEN_ENDED);
    work->has_open = !row_is_null(row);
    work->due_at = row_instant_or(row, (struct instant){0});
    work->open_days = row_int(row);
    work->has_closed = !row_is_null(row);
    work->closed_at = row_instant_or(row, (struct instant){0});
}

enum store_result store_close_work(struct pg *pg, struct arena *arena, struct instant now,
                                   struct instant reach, struct close_work **work, size_t *count)
{
    return pg_ask(pg, &sql_close_work, PG_ARGS(arg_instant(now), arg_instant(reach)),
                  PG_LIST(arena, take_work, NULL, work, count));
}
