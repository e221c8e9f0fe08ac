/* SPDX-License-Identifier: ISC */
/* Appending the entries of a close. */
#include "app/closing/closing.h"

#include "app/posting/post_facts.h"

enum store_result closing_post(struct closing *closing, struct draft *draft,
                               const struct posting_facts *facts)
{
    int64_t entry;
    return post_facts(&closing->ledger, facts, draft, &entry);
}
