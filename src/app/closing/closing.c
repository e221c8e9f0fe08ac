/* SPDX-License-Identifier: ISC */
/* Appending the entries of a close. */
#include "app/closing/closing.h"

struct instant closing_instant(const struct closing *closing)
{
    return (struct instant){closing->day->ends_at.us - 1};
}

enum store_result closing_post(struct closing *closing, struct draft *draft,
                               const struct posting_facts *facts)
{
    int64_t entry;
    return post_facts(&closing->work->ledger, facts, draft, &entry);
}
