/* SPDX-License-Identifier: ISC */
/* Activity and fees. */
#include "depositd/fees.h"

static bool at_counter(enum entry_kind kind)
{
    return kind == KIND_ISSUE || kind == KIND_RETURN || kind == KIND_EXCHANGE;
}

static bool moves_stock(enum entry_kind kind)
{
    return kind == KIND_SUPPLY || kind == KIND_DISPATCH || kind == KIND_RECEIPT ||
           kind == KIND_TRANSIT_LOSS || kind == KIND_DAMAGE || kind == KIND_RETIRE || kind == KIND_COUNT;
}

int32_t activity_site(struct leg leg)
{
    switch (account_kind_of(leg.account)) {
    case ACCOUNT_SITE_CLEARING:
    case ACCOUNT_SITE_STOCK:
    case ACCOUNT_DAMAGED:
        return account_owner(leg.account);
    default:
        return 0;
    }
}

static bool add(int64_t *sum, int64_t amount)
{
    return !__builtin_add_overflow(*sum, amount, sum);
}

bool activity_add(struct activity *activity, enum entry_kind kind, bool mirrored, struct leg leg)
{
    /* A mirrored leg takes away what the leg had added, so the leg's own sign decides where it belongs. */
    int64_t original = mirrored ? -leg.amount : leg.amount;
    int64_t sign = mirrored ? -1 : 1;
    switch (account_kind_of(leg.account)) {
    case ACCOUNT_SITE_CLEARING:
        if (at_counter(kind))
            return original > 0 ? add(&activity->collected, original * sign)
                                : add(&activity->refunded, -original * sign);
        return add(moves_stock(kind) ? &activity->stock : &activity->other, leg.amount);
    case ACCOUNT_SITE_STOCK:
    case ACCOUNT_DAMAGED:
        if (!at_counter(kind))
            return true;
        return original < 0 ? add(&activity->issued, -original * sign)
                            : add(&activity->returned, original * sign);
    default:
        return true;
    }
}

/* Adds what a part of the fee comes to, and the tax on it. */
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
