/* SPDX-License-Identifier: ISC */
/* Puts reference data: one statement for all rows of a kind, whose members are its arrays. A list within the
 * rows becomes arrays of its own, with the place of the row beside each element. */
#include "store/reference_put_store.h"

#include "sql.h"
#include "store/pg_ask.h"
#include "store/reference_columns.h"

#include <stdio.h>

enum { DEGREES_TEXT_MAX = 32 };

/* Texts of as many digits that the same number comes back. */
static const char *degrees_text(struct arena *arena, bool present, double degrees)
{
    char text[DEGREES_TEXT_MAX];
    int length = snprintf(text, sizeof text, "%.17g", degrees);
    return present ? arena_copy(arena, text, (size_t)length) : NULL;
}

/* --- the office's codes --------------------------------------------------------------------------------- */

/* An account of a list, with the place of the list, from 1. */
struct listed_account {
    int64_t place;
    struct office_account_row account;
    int64_t number;
};

static struct listed_account *list_accounts(struct arena *arena, struct reference_items lists, size_t *count)
{
    size_t filled = 0;
    *count = 0;
    for (size_t i = 0; i < lists.count; i++)
        *count += ((const struct office_accounts_row *)lists.items[i].row)->accounts.count;
    struct listed_account *listed = arena_array(arena, *count, sizeof *listed);
    for (size_t i = 0; listed != NULL && i < lists.count; i++) {
        const struct office_accounts_row *row = lists.items[i].row;
        const struct office_account_row *accounts = row->accounts.items;
        for (size_t k = 0; k < row->accounts.count; k++)
            listed[filled++] = (struct listed_account){
                (int64_t)i + 1, accounts[k], lists.items[i].numbers != NULL ? lists.items[i].numbers[k] : 0};
    }
    return listed;
}

/* --- putting rows --------------------------------------------------------------------------------------- */

static struct pg_answer differing_items(struct arena *arena, struct reference_differing *differing)
{
    return PG_LIST(arena, take_int, NULL, &differing->items, &differing->count);
}

enum store_result store_put_cup_types(struct pg *pg, struct arena *arena, struct reference_items items,
                                      struct reference_differing *differing)
{
    size_t count = items.count;
    const struct cup_type_row *rows = column_rows(arena, items, sizeof *rows);
    return pg_ask(pg, &sql_reference_put_cup_type,
                  PG_ARGS(arg_codes(COLUMN(rows, count, cup_type)), arg_texts(COLUMN(rows, count, name)),
                          arg_int8s(COLUMN(rows, count, volume_ml)), arg_int8s(COLUMN(rows, count, mass_g)),
                          arg_texts(COLUMN(rows, count, grai))),
                  differing_items(arena, differing));
}

enum store_result store_put_participants(struct pg *pg, struct arena *arena, struct reference_items items,
                                         struct reference_differing *differing)
{
    size_t count = items.count;
    const struct participant_row *rows = column_rows(arena, items, sizeof *rows);
    return pg_ask(
        pg, &sql_reference_put_participant,
        PG_ARGS(arg_codes(COLUMN(rows, count, participant)), arg_texts(COLUMN(rows, count, name)),
                arg_texts(COLUMN(rows, count, bank_account.iban)),
                arg_texts(COLUMN(rows, count, bank_account.account)),
                arg_texts(COLUMN(rows, count, bank_account.bank_code)), arg_texts(COLUMN(rows, count, bic)),
                arg_bools(COLUMN(rows, count, has_tax_registered)),
                arg_bools(COLUMN(rows, count, tax_registered)), arg_texts(COLUMN(rows, count, mandate.id)),
                arg_dates(COLUMN(rows, count, mandate.signed_on))),
        differing_items(arena, differing));
}

/* A holiday of a scheme, with the place of the scheme, from 1. */
struct listed_holiday {
    int64_t place;
    struct date day;
};

static struct listed_holiday *list_holidays(struct arena *arena, const struct scheme_row *rows,
                                            size_t schemes, size_t *count)
{
    size_t filled = 0;
    *count = 0;
    for (size_t i = 0; rows != NULL && i < schemes; i++)
        *count += rows[i].holidays.count;
    struct listed_holiday *listed = arena_array(arena, *count, sizeof *listed);
    for (size_t i = 0; rows != NULL && listed != NULL && i < schemes; i++)
        for (size_t k = 0; k < rows[i].holidays.count; k++)
            listed[filled++] =
                (struct listed_holiday){(int64_t)i + 1, ((const struct date *)rows[i].holidays.items)[k]};
    return listed;
}

/* Of currencies that are known. */
static int64_t *decimals_of(struct arena *arena, const struct scheme_row *rows, size_t count)
{
    int64_t *decimals = arena_array(arena, count, sizeof *decimals);
    for (size_t i = 0; rows != NULL && decimals != NULL && i < count; i++)
        decimals[i] = currency_find(rows[i].currency)->decimals;
    return decimals;
}

enum store_result store_put_schemes(struct pg *pg, struct arena *arena, struct reference_items items,
                                    struct reference_differing *differing)
{
    size_t count = items.count, holiday_count;
    const struct scheme_row *rows = column_rows(arena, items, sizeof *rows);
    const struct listed_holiday *holidays = list_holidays(arena, rows, count, &holiday_count);
    return pg_ask(
        pg, &sql_reference_put_scheme,
        PG_ARGS(arg_codes(COLUMN(rows, count, scheme)), arg_texts(COLUMN(rows, count, currency)),
                arg_int8s(ARRAY(decimals_of(arena, rows, count), count)),
                arg_texts(COLUMN(rows, count, time_zone)), arg_int8s(COLUMN(rows, count, cut_off)),
                arg_bools(COLUMN(rows, count, has_close_after_minutes)),
                arg_int8s(COLUMN(rows, count, close_after_minutes)),
                arg_texts(ARRAY(WORDS(arena, stock_terms_words, rows, count, stock_terms), count)),
                arg_bools(COLUMN(rows, count, has_return_target)),
                arg_int4s(COLUMN(rows, count, return_target.ppm)),
                arg_bools(COLUMN(rows, count, has_dual_control)),
                arg_bools(COLUMN(rows, count, dual_control)), arg_int8s(COLUMN(rows, count, count_tolerance)),
                arg_bools(COLUMN(rows, count, has_variance_limit)),
                arg_int8s(COLUMN(rows, count, variance_limit.unscaled)),
                arg_bools(COLUMN(rows, count, has_carry_days)), arg_int8s(COLUMN(rows, count, carry_days)),
                arg_texts(COLUMN(rows, count, operator.name)),
                arg_texts(COLUMN(rows, count, operator.bank_account.iban)),
                arg_texts(COLUMN(rows, count, operator.bank_account.account)),
                arg_texts(COLUMN(rows, count, operator.bank_account.bank_code)),
                arg_texts(COLUMN(rows, count, operator.bic)),
                arg_texts(COLUMN(rows, count, operator.creditor_id)),
                arg_bools(COLUMN(rows, count, has_closed_on)), arg_dates(COLUMN(rows, count, closed_on)),
                arg_texts(ARRAY(WORDS_IF(arena, loss_bearer_words, rows, count, loss_bearer), count)),
                arg_bools(COLUMN(rows, count, has_group)), arg_int8s(COLUMN(rows, count, group)),
                arg_int8s(COLUMN(holidays, holiday_count, place)),
                arg_dates(COLUMN(holidays, holiday_count, day))),
        differing_items(arena, differing));
}

enum store_result store_add_heads(struct pg *pg, int64_t version)
{
    return pg_run(pg, &sql_reference_add_head, PG_ARGS(arg_int(version)));
}

/* A row of fees, with the place of its terms, from 1. */
struct listed_fee {
    int64_t place;
    struct fee_row_row row;
};

static struct listed_fee *list_fees(struct arena *arena, const struct terms_row *rows, size_t terms,
                                    size_t *count)
{
    size_t filled = 0;
    *count = 0;
    for (size_t i = 0; rows != NULL && i < terms; i++)
        *count += rows[i].fees.count;
    struct listed_fee *listed = arena_array(arena, *count, sizeof *listed);
    for (size_t i = 0; rows != NULL && listed != NULL && i < terms; i++)
        for (size_t k = 0; k < rows[i].fees.count; k++)
            listed[filled++] =
                (struct listed_fee){(int64_t)i + 1, ((const struct fee_row_row *)rows[i].fees.items)[k]};
    return listed;
}

/* The kinds of sites that rows of fees name; NULL: any. */
static const char *const *fee_kinds(struct arena *arena, const struct listed_fee *fees, size_t count)
{
    const char **kinds = arena_array(arena, count, sizeof *kinds);
    for (size_t i = 0; kinds != NULL && fees != NULL && i < count; i++)
        kinds[i] = fees[i].row.has_site_kind ? site_kind_words[fees[i].row.site_kind] : NULL;
    return kinds;
}

/* Pay days as signed numbers, as the database has them. Neither uses the highest bit. */
struct day_bits {
    int32_t weekdays, month_days;
};

static struct day_bits *list_days(struct arena *arena, const struct terms_row *rows, size_t count)
{
    struct day_bits *days = arena_array(arena, count, sizeof *days);
    for (size_t i = 0; rows != NULL && days != NULL && i < count; i++)
        days[i] = (struct day_bits){(int32_t)rows[i].pay_days.weekdays, (int32_t)rows[i].pay_days.month_days};
    return days;
}

enum store_result store_put_terms(struct pg *pg, struct arena *arena, struct reference_items items,
                                  struct reference_differing *differing)
{
    size_t count = items.count, fee_count;
    const struct terms_row *rows = column_rows(arena, items, sizeof *rows);
    const struct listed_fee *fees = list_fees(arena, rows, count, &fee_count);
    const struct day_bits *days = list_days(arena, rows, count);
    return pg_ask(
        pg, &sql_reference_put_terms,
        PG_ARGS(arg_texts(COLUMN(items.items, count, scheme)), arg_dates(COLUMN(rows, count, effective_date)),
                arg_texts(ARRAY(WORDS(arena, netting_words, rows, count, netting), count)),
                arg_int8s(COLUMN(rows, count, minimum_payment.unscaled)),
                arg_int8s(COLUMN(rows, count, service_fee.unscaled)),
                arg_int8s(COLUMN(rows, count, handling_fee.unscaled)),
                arg_int4s(COLUMN(rows, count, tax_rate.ppm)),
                arg_texts(ARRAY(WORDS(arena, bearing_words, rows, count, shortage_terms), count)),
                arg_texts(ARRAY(WORDS(arena, bearing_words, rows, count, variance_terms), count)),
                arg_bools(COLUMN(rows, count, has_monthly_fee)),
                arg_int8s(COLUMN(rows, count, monthly_fee.unscaled)),
                arg_int4s(COLUMN(days, count, weekdays)), arg_int4s(COLUMN(days, count, month_days)),
                arg_int8s(COLUMN(fees, fee_count, place)),
                arg_codes(COLUMN(fees, fee_count, row.participant)),
                arg_texts(ARRAY(fee_kinds(arena, fees, fee_count), fee_count)),
                arg_codes(COLUMN(fees, fee_count, row.cup_type)),
                arg_bools(COLUMN(fees, fee_count, row.has_service_fee)),
                arg_int8s(COLUMN(fees, fee_count, row.service_fee.unscaled)),
                arg_bools(COLUMN(fees, fee_count, row.has_handling_fee)),
                arg_int8s(COLUMN(fees, fee_count, row.handling_fee.unscaled)),
                arg_bools(COLUMN(fees, fee_count, row.has_monthly_fee)),
                arg_int8s(COLUMN(fees, fee_count, row.monthly_fee.unscaled))),
        differing_items(arena, differing));
}

enum store_result store_put_refund_values(struct pg *pg, struct arena *arena, struct reference_items items,
                                          struct reference_differing *differing)
{
    size_t count = items.count;
    const struct refund_value_row *rows = column_rows(arena, items, sizeof *rows);
    return pg_ask(pg, &sql_reference_put_refund_value,
                  PG_ARGS(arg_texts(COLUMN(items.items, count, scheme)),
                          arg_codes(COLUMN(rows, count, cup_type)),
                          arg_dates(COLUMN(rows, count, effective_date)),
                          arg_int8s(COLUMN(rows, count, amount.unscaled))),
                  differing_items(arena, differing));
}

enum store_result store_put_office_accounts(struct pg *pg, struct arena *arena, struct reference_items items,
                                            struct reference_differing *differing)
{
    size_t count = items.count, account_count;
    const struct office_accounts_row *rows = column_rows(arena, items, sizeof *rows);
    const struct listed_account *listed = list_accounts(arena, items, &account_count);
    return pg_ask(pg, &sql_reference_put_office_accounts,
                  PG_ARGS(arg_texts(COLUMN(items.items, count, scheme)),
                          arg_dates(COLUMN(rows, count, effective_date)),
                          arg_int8s(COLUMN(listed, account_count, place)),
                          arg_int8s(COLUMN(listed, account_count, number)),
                          arg_texts(COLUMN(listed, account_count, account.code)),
                          arg_texts(COLUMN(listed, account_count, account.name))),
                  differing_items(arena, differing));
}

/* Cups of a type that a site should have, with the place of the site, from 1. */
struct listed_stock {
    int64_t place;
    struct par_stock_row row;
};

static struct listed_stock *list_stock(struct arena *arena, const struct site_row *rows, size_t sites,
                                       size_t *count)
{
    size_t filled = 0;
    *count = 0;
    for (size_t i = 0; rows != NULL && i < sites; i++)
        *count += rows[i].par_stock.count;
    struct listed_stock *listed = arena_array(arena, *count, sizeof *listed);
    for (size_t i = 0; rows != NULL && listed != NULL && i < sites; i++)
        for (size_t k = 0; k < rows[i].par_stock.count; k++)
            listed[filled++] = (struct listed_stock){
                (int64_t)i + 1, ((const struct par_stock_row *)rows[i].par_stock.items)[k]};
    return listed;
}

/* Where sites are. */
struct degrees {
    const char *latitude, *longitude;
};

static struct degrees *list_degrees(struct arena *arena, const struct site_row *rows, size_t count)
{
    struct degrees *degrees = arena_array(arena, count, sizeof *degrees);
    for (size_t i = 0; rows != NULL && degrees != NULL && i < count; i++)
        degrees[i] = (struct degrees){degrees_text(arena, rows[i].has_latitude, rows[i].latitude),
                                      degrees_text(arena, rows[i].has_longitude, rows[i].longitude)};
    return degrees;
}

enum store_result store_put_sites(struct pg *pg, struct arena *arena, struct reference_items items,
                                  struct reference_differing *differing)
{
    size_t count = items.count, stock_count;
    const struct site_row *rows = column_rows(arena, items, sizeof *rows);
    const struct listed_stock *stock = list_stock(arena, rows, count, &stock_count);
    const struct degrees *degrees = list_degrees(arena, rows, count);
    return pg_ask(
        pg, &sql_reference_put_site,
        PG_ARGS(arg_codes(COLUMN(rows, count, site)), arg_codes(COLUMN(rows, count, scheme)),
                arg_codes(COLUMN(rows, count, participant)), arg_texts(COLUMN(rows, count, name)),
                arg_texts(ARRAY(WORDS(arena, site_kind_words, rows, count, kind), count)),
                arg_dates(COLUMN(rows, count, opened_on)), arg_bools(COLUMN(rows, count, has_closed_on)),
                arg_dates(COLUMN(rows, count, closed_on)), arg_texts(COLUMN(degrees, count, latitude)),
                arg_texts(COLUMN(degrees, count, longitude)), arg_texts(COLUMN(rows, count, gln)),
                arg_bools(COLUMN(rows, count, has_count_days)), arg_int8s(COLUMN(rows, count, count_days)),
                arg_int8s(COLUMN(stock, stock_count, place)),
                arg_codes(COLUMN(stock, stock_count, row.cup_type)),
                arg_int8s(COLUMN(stock, stock_count, row.quantity))),
        differing_items(arena, differing));
}

enum store_result store_put_tax_registrations(struct pg *pg, struct arena *arena,
                                              struct reference_items items,
                                              struct reference_differing *differing)
{
    size_t count = items.count;
    const struct tax_registration_row *rows = column_rows(arena, items, sizeof *rows);
    return pg_ask(pg, &sql_reference_put_tax_registration,
                  PG_ARGS(arg_codes(COLUMN(rows, count, participant)),
                          arg_dates(COLUMN(rows, count, effective_date)),
                          arg_bools(COLUMN(rows, count, tax_registered))),
                  differing_items(arena, differing));
}

enum store_result store_put_site_kinds(struct pg *pg, struct arena *arena, struct reference_items items,
                                       struct reference_differing *differing)
{
    size_t count = items.count;
    const struct site_kind_row *rows = column_rows(arena, items, sizeof *rows);
    return pg_ask(pg, &sql_reference_put_site_kind,
                  PG_ARGS(arg_codes(COLUMN(rows, count, site)),
                          arg_dates(COLUMN(rows, count, effective_date)),
                          arg_texts(ARRAY(WORDS(arena, site_kind_words, rows, count, kind), count))),
                  differing_items(arena, differing));
}

enum store_result store_forget_days(struct pg *pg, const char *const *schemes, size_t count)
{
    return pg_run(pg, &sql_reference_forget_days, PG_ARGS(arg_texts(ARRAY(schemes, count))));
}
