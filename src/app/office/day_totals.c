/* SPDX-License-Identifier: ISC */
/* Storing totals. The transaction locks the site's row. So if two calls come at once, the second sees the
 * totals of the first. */
#include "app/office/day_totals.h"

#include "app/transaction/transaction.h"
#include "base/clock.h"

static bool read_amount(const struct day_totals_put *put, const char *pointer, struct decimal amount,
                        struct money *into, struct faults *faults)
{
    int decimals = put->scheme->currency->decimals;
    if (amount.scale != decimals)
        faults_add(faults, REASON_AMOUNT_DECIMALS, pointer, "must have exactly %d decimals", decimals);
    else if (amount.unscaled > MONEY_STATED_MAX)
        faults_add(faults, REASON_OUT_OF_RANGE, pointer, "is too large an amount");
    else
        *into = (struct money){amount.unscaled};
    return faults->count == 0;
}

static bool make_row(const struct day_totals_put *put, struct day_total_row *row, struct faults *faults)
{
    *row = (struct day_total_row){
        .scheme = put->scheme->id,
        .site = put->site->id,
        .date = put->date,
        .key = put->key,
        .now = clock_now(),
        .issued = put->totals->issued,
        .returned = put->totals->returned,
    };
    bool collected = read_amount(put, "/collected", put->totals->collected, &row->collected, faults);
    return read_amount(put, "/refunded", put->totals->refunded, &row->refunded, faults) && collected;
}

static enum store_result show(struct pg *pg, const struct day_totals_put *put, struct reference_shown *shown,
                              bool *there)
{
    buffer_reset(shown->json);
    enum store_result result =
        store_day_total_get(pg, put->scheme->id, put->site->id, put->date, shown->json, there);
    reference_tag(shown->json, shown->tag);
    return result;
}

static enum store_result say(struct pg *pg, const struct day_totals_put *put, const struct day_total_row *row,
                             struct reference_shown *shown, struct faults *faults)
{
    bool begun, there = false;
    enum store_result result = store_day_total_lock(pg, row->scheme, row->site, row->date, &begun);
    if (result == STORE_OK)
        result = show(pg, put, shown, &there);
    if (result != STORE_OK)
        return result;
    shown->created = !there;
    if (!begun)
        faults_add(faults, REASON_NOT_FOUND, NULL, "no such business day has begun");
    else if (put->if_match != NULL && !(there && reference_tag_matches(put->if_match, shown->tag)))
        faults_add(faults, REASON_PRECONDITION_FAILED, NULL, "they are not as If-Match says");
    if (faults->count > 0)
        return STORE_OK;
    result = store_day_total_add(pg, row);
    return result == STORE_OK ? show(pg, put, shown, &there) : result;
}

enum store_result day_totals_put(struct pg *pg, const struct day_totals_put *put,
                                 struct reference_shown *shown, struct faults *faults)
{
    struct day_total_row row;
    if (!make_row(put, &row, faults))
        return STORE_OK;
    enum store_result result = pg_begin(pg);
    if (result == STORE_OK)
        result = say(pg, put, &row, shown, faults);
    return transaction_end(pg, result, faults, !put->dry_run);
}
