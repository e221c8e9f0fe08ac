/* SPDX-License-Identifier: ISC */
/* Posting the bank's lines. */
#include "app/office/bank_line.h"

#include <assert.h>

enum store_result bank_line_post(struct head_work *work, struct money amount, int64_t *entry)
{
    struct posting_facts facts = {
        .kind = KIND_BANK_LINE,
        .stock_terms = work->scheme->stock_terms,
        .amount = amount,
    };
    return head_work_post(work, &facts, entry);
}

enum store_result bank_line_resolve(struct head_work *work, struct money amount, int32_t participant,
                                    enum line_target target, int64_t *entry)
{
    struct posting_facts facts = {
        .kind = KIND_BANK_LINE_RESOLVED,
        .stock_terms = work->scheme->stock_terms,
        .participant = participant,
        .amount = amount,
        .target = target,
    };
    assert(target != LINE_OF_NOBODY);
    return head_work_post(work, &facts, entry);
}
