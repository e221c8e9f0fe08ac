/* SPDX-License-Identifier: ISC */
/* Appending the entries of a close. */
#include "app/closing/closing.h"

enum store_result closing_post(struct closing *closing, struct draft *draft,
                               const struct posting_facts *facts)
{
    int64_t entry;
    return post_facts(&closing->work->ledger, facts, draft, &entry);
}
