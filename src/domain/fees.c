/* SPDX-License-Identifier: ISC */
/* Activity and fees. */
#include "depositd/fees.h"

#include <stdlib.h>

static bool is_clearing(struct leg leg)
{
    return account_kind_of(leg.account) == ACCOUNT_SITE_CLEARING;
}

static bool is_stock(struct leg leg)
{
    return account_kind_holds(account_kind_of(leg.account)) == HOLDS_STOCK;
}

int32_t activity_site(struct leg leg)
{
    return is_clearing(leg) || is_stock(leg) ? account_owner(leg.account) : 0;
}

static bool add(int64_t *sum, int64_t amount)
{
    return !__builtin_add_overflow(*sum, amount, sum);
}

/* The meaning of a leg of the site's clearing. A mirrored leg takes away the amount that the reversed leg had
 * added, so the sign of the reversed leg decides whether money was collected or refunded. */
static bool add_dealing(struct activity *activity, enum kind_activity kind, bool mirrored, int64_t amount)
{
    bool collected = (mirrored ? -amount : amount) > 0;
    switch (kind) {
    case ACTIVITY_COUNTER:
        return collected ? add(&activity->collected, amount) : add(&activity->refunded, -amount);
    case ACTIVITY_STOCK:
        return add(&activity->stock, amount);
    case ACTIVITY_OTHER:
        return add(&activity->other, amount);
    case ACTIVITY_CLOSE:
        return true;
    }
    abort();
}

/* The meaning of a leg of the site's cups: fees are due on those that go to a customer or come back from
 * one. */
static bool add_cups(struct activity *activity, enum kind_activity kind, bool mirrored, int64_t amount)
{
    bool issued = (mirrored ? -amount : amount) < 0;
    if (kind != ACTIVITY_COUNTER)
        return true;
    return issued ? add(&activity->issued, -amount) : add(&activity->returned, amount);
}

bool activity_add(struct activity *activity, enum entry_kind kind, bool mirrored, struct leg leg)
{
    if (is_clearing(leg))
        return add_dealing(activity, entry_kind_activity(kind), mirrored, leg.amount);
    if (is_stock(leg))
        return add_cups(activity, entry_kind_activity(kind), mirrored, leg.amount);
    return true;
}

/* Adds a part of the fee, and the tax on it. */
static bool add_fee(struct money fee, struct cups cups, struct rate rate, struct money *sum,
                    struct tax_sum *tax)
{
    struct money part;
    return money_times(fee, cups, &part) && money_add(*sum, part, sum) && money_tax_add(tax, part, rate);
}

enum reason fees_of(const struct fee_part *parts, size_t count, struct fees *fees)
{
    struct tax_sum service_tax = {0}, handling_tax = {0};
    *fees = (struct fees){0};
    for (size_t i = 0; i < count; i++) {
        const struct terms *terms = parts[i].terms;
        struct rate handling_rate = parts[i].tax_registered ? terms->tax_rate : (struct rate){0};
        if (!add_fee(terms->service_fee, parts[i].issued, terms->tax_rate, &fees->service_fee,
                     &service_tax) ||
            !add_fee(terms->handling_fee, parts[i].returned, handling_rate, &fees->handling_fee,
                     &handling_tax))
            return REASON_OUT_OF_RANGE;
    }
    fees->service_tax = money_tax_rounded(service_tax);
    fees->handling_tax = money_tax_rounded(handling_tax);
    return REASON_NONE;
}
