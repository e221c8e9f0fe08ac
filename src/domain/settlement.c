/* SPDX-License-Identifier: ISC */
/* Carrying forward, payments in both modes of netting, and when they are due. */
#include "depositd/settlement.h"

#include <stdlib.h>
#include <string.h>

static bool is_small(const struct position *position, const struct terms *terms)
{
    int64_t size = position->amount.minor < 0 ? -position->amount.minor : position->amount.minor;
    return size != 0 && size < terms->minimum_payment.minor && position->arrears.minor == 0;
}

struct carrying position_carrying(const struct position *position, struct date day, const struct terms *terms,
                                  int32_t carry_days)
{
    bool was_small = position->was_small && position->amount.minor != 0;
    struct date since = was_small ? position->small_since : day;
    if (!pay_days_include(terms->pay_days, day))
        return (struct carrying){.carried = true, .small = was_small, .small_since = since};
    bool carried = is_small(position, terms) && day.days - since.days < carry_days && position->has_open_site;
    return (struct carrying){.carried = carried, .small = carried, .small_since = since};
}

/* Each debtor pays the pool, the pool pays each creditor: in the order of the positions, payers first. */
static void pay_centrally(const struct money *positions, size_t count, struct netting_payment *payments,
                          size_t *payment_count)
{
    uint32_t pool = (uint32_t)count;
    for (uint32_t i = 0; i < pool; i++)
        if (positions[i].minor > 0)
            payments[(*payment_count)++] = (struct netting_payment){i, pool, positions[i]};
    for (uint32_t i = 0; i < pool; i++)
        if (positions[i].minor < 0)
            payments[(*payment_count)++] = (struct netting_payment){pool, i, {-positions[i].minor}};
}

enum netting_result settlement_payments(enum netting_mode mode, const struct money *positions, size_t count,
                                        struct netting_payment *payments, size_t *payment_count)
{
    struct money sum = {0};
    *payment_count = 0;
    for (size_t i = 0; i < count; i++)
        if (!money_sub(sum, positions[i], &sum) || positions[i].minor == INT64_MIN)
            return NETTING_NOT_BALANCED;
    if (mode == NETTING_CENTRAL) {
        pay_centrally(positions, count, payments, payment_count);
        return NETTING_OK;
    }
    /* The pool is one more node, with the position that balances the others. */
    struct money *nodes = malloc((count + 1) * sizeof *nodes);
    if (nodes == NULL)
        return NETTING_NO_MEMORY;
    if (count > 0)
        memcpy(nodes, positions, count * sizeof *nodes);
    nodes[count] = sum;
    enum netting_result result = netting_solve(nodes, count + 1, payments, payment_count);
    free(nodes);
    return result;
}

static bool is_holiday(struct date date, const struct date *holidays, size_t count)
{
    int32_t weekday = (date.days + 4) % 7; /* 1970-01-01 was a Thursday: 0 is Sunday, 6 Saturday */
    if (weekday == 0 || weekday == 6)
        return true;
    for (size_t i = 0; i < count; i++)
        if (holidays[i].days == date.days)
            return true;
    return false;
}

struct date payment_due_on(struct date business_day, const struct date *holidays, size_t count)
{
    struct date due = {business_day.days + 1};
    while (is_holiday(due, holidays, count))
        due.days++;
    return due;
}
