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

enum reason fees_of(const struct terms *terms, struct cups issued, struct cups returned, bool tax_registered,
                    struct fees *fees)
{
    if (!money_times(terms->service_fee, issued, &fees->service_fee) ||
        !money_times(terms->handling_fee, returned, &fees->handling_fee))
        return REASON_OUT_OF_RANGE;
    fees->service_tax = money_tax_on(fees->service_fee, terms->tax_rate);
    fees->handling_tax =
        tax_registered ? money_tax_on(fees->handling_fee, terms->tax_rate) : (struct money){0};
    return REASON_NONE;
}
