/* SPDX-License-Identifier: ISC */
/* Appending the entries of a close. */
#include "app/closing/closing.h"

enum store_result closing_post(struct closing *closing, struct draft *draft,
                               const struct posting_facts *facts)
{
    int64_t entry;
    struct leg_list legs = {.capacity = posting_legs_max(facts->line_count, 0)};
    legs.legs = arena_array(&closing->arena, legs.capacity, sizeof *legs.legs);
    if (legs.legs == NULL)
        return STORE_FAILED;
    if (posting_derive(facts, &legs) != REASON_NONE)
        return STORE_OUT_OF_RANGE;
    if (legs.count == 0)
        return STORE_OK;
    draft->kind = facts->kind;
    draft->site = facts->site;
    draft->legs = legs.legs;
    draft->leg_count = legs.count;
    return ledger_append(&closing->ledger, draft, &entry);
}
