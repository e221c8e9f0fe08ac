/* SPDX-License-Identifier: ISC */
/* Each host is settled by itself: not with participants, nor against what it owes for cups that went the
 * other way. */
#include "app/closing/close_between.h"

/* Less than the minimum waits, and so does a balance in the scheme's favour. In the agreed currency it may be
 * in its favour though it is not in the books, which have it at rates of many days; then it waits as well. */
static bool is_paid(const struct closing *closing, const struct payment_row *due)
{
    return due->amount.minor > 0 && due->agreed.minor > 0 &&
           due->amount.minor >= closing->terms->minimum_payment.minor;
}

static enum store_result settle(struct closing *closing, const struct payment_row *due)
{
    const struct scheme *scheme = closing->work->scheme;
    const struct agreed agreed = {.home = scheme->id, .host = due->host, .booked = due->amount};
    struct posting_facts facts = {
        .kind = KIND_SETTLE,
        .stock_terms = scheme->stock_terms,
        .host = due->host,
        .agreed = &agreed,
        .agreed_count = 1,
    };
    struct draft draft = {.business_date = closing->day->date, .occurred_at = closing_instant(closing)};
    return closing_post(closing, &draft, &facts);
}

enum store_result close_between(struct closing *closing)
{
    struct head_work *work = closing->work;
    struct payment_row *due;
    size_t count;
    closing->pool_payment_count = 0;
    if (work->network->agreement_count == 0 ||
        !pay_days_include(closing->terms->pay_days, closing->day->date))
        return STORE_OK;
    enum store_result result =
        store_between_due(work->pg, &work->arena, work->scheme->id, closing->day->date, &due, &count);
    closing->pool_payments = due;
    for (size_t i = 0; i < count && result == STORE_OK; i++) {
        if (!is_paid(closing, &due[i]))
            continue;
        result = settle(closing, &due[i]);
        closing->pool_payments[closing->pool_payment_count++] = due[i];
    }
    return result;
}
