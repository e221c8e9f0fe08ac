/* SPDX-License-Identifier: ISC */
/* Deriving legs, and appending them. */
#include "app/posting/post_facts.h"

enum store_result post_derive(const struct ledger *ledger, const struct posting_facts *facts,
                              struct leg_list *legs)
{
    *legs = (struct leg_list){.capacity = posting_legs_max(facts)};
    legs->legs = arena_array(ledger->arena, legs->capacity, sizeof *legs->legs);
    if (legs->legs == NULL)
        return STORE_FAILED;
    return posting_derive(facts, legs) == REASON_NONE ? STORE_OK : STORE_OUT_OF_RANGE;
}

enum store_result post_facts(struct ledger *ledger, const struct posting_facts *facts, struct draft *draft,
                             int64_t *entry)
{
    struct leg_list legs;
    enum store_result result = post_derive(ledger, facts, &legs);
    *entry = 0;
    if (result != STORE_OK || legs.count == 0)
        return result;
    draft->kind = facts->kind;
    draft->site = facts->site;
    draft->legs = legs.legs;
    draft->leg_count = legs.count;
    return ledger_append(ledger, draft, entry);
}
