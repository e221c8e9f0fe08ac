/* SPDX-License-Identifier: ISC */
/* Deriving legs, and appending them. */
#include "app/posting/post_facts.h"

#include <stdlib.h>

enum store_result post_derive(const struct ledger *ledger, const struct posting_facts *facts,
                              struct leg_list *legs)
{
    *legs = (struct leg_list){.capacity = posting_legs_max(facts)};
    legs->legs = arena_array(ledger->arena, legs->capacity, sizeof *legs->legs);
    if (legs->legs == NULL)
        return STORE_FAILED;
    return posting_derive(facts, legs) == REASON_NONE ? STORE_OK : STORE_OUT_OF_RANGE;
}

/* Whether the balance tells that cups are missing: it may fall below zero, or cups that visit leave. */
static bool tells_of_missing(struct leg leg)
{
    if (account_kind_of(leg.account) == ACCOUNT_VISITING)
        return leg.amount > 0;
    switch (account_kind_holds(account_kind_of(leg.account))) {
    case HOLDS_STOCK:
    case HOLDS_OUT:
        return true;
    case HOLDS_TRANSIT:
    case HOLDS_GONE:
    case HOLDS_MONEY:
        return false;
    }
    abort();
}

enum store_result post_balances_after(struct ledger *ledger, const struct leg_list *legs, int64_t **after)
{
    *after = arena_array(ledger->arena, legs->count + 1, sizeof **after);
    if (*after == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < legs->count; i++) {
        if (!tells_of_missing(legs->legs[i]))
            continue;
        enum store_result result = ledger_balance(ledger, legs->legs[i].account, &(*after)[i]);
        if (result != STORE_OK)
            return result;
        for (size_t l = 0; l < legs->count; l++)
            if (legs->legs[l].account.code == legs->legs[i].account.code)
                (*after)[i] += legs->legs[l].amount;
    }
    return STORE_OK;
}

bool post_book_agreed(const struct ledger *ledger, struct agreed *agreed)
{
    const struct agreement agreement = {.home = agreed->home,
                                        .host = agreed->host,
                                        .in_host_currency = agreed->in_host_currency,
                                        .rate = {agreed->rate_e12}};
    return agreement_in_books(ledger->network, &agreement, ledger->scheme->id, agreed->exact,
                              &agreed->booked);
}

enum store_result post_legs(struct ledger *ledger, const struct posting_facts *facts,
                            const struct leg_list *legs, struct draft *draft, int64_t *entry)
{
    *entry = 0;
    if (legs->count == 0)
        return STORE_OK;
    draft->kind = facts->kind;
    draft->site = facts->site;
    draft->legs = legs->legs;
    draft->leg_count = legs->count;
    return ledger_append(ledger, draft, entry);
}

enum store_result post_facts(struct ledger *ledger, const struct posting_facts *facts, struct draft *draft,
                             int64_t *entry)
{
    struct leg_list legs;
    enum store_result result = post_derive(ledger, facts, &legs);
    *entry = 0;
    return result == STORE_OK ? post_legs(ledger, facts, &legs, draft, entry) : result;
}
