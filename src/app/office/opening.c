/* SPDX-License-Identifier: ISC */
/* An opening is posted when it is approved; so it is checked again, and its effects follow here. */
#include "app/office/opening.h"

#include "app/posting/record_opening.h"
#include "store/opening_store.h"

static bool is_opening(const struct proposal *proposal)
{
    return proposal->kind == KIND_OPENING;
}

enum store_result opening_check(struct head_work *work, const struct proposal *proposal,
                                const struct business_day *occurrence, struct faults *faults)
{
    enum last_entry last;
    enum store_result result = store_opening_last(work->pg, work->scheme->id, &last);
    if (result != STORE_OK)
        return result;
    enum reason reason = REASON_NONE;
    if (is_opening(proposal))
        reason = record_opening_refusal(&work->calendar, occurrence, last);
    else if (last != LAST_IS_OPENING)
        reason = REASON_OPENING_STANDS;
    if (reason != REASON_NONE)
        faults_refuse(faults, reason);
    return STORE_OK;
}

/* Unaccounted cups of an opening may come back, as forfeited ones may. */
static enum store_result add_forfeited(struct head_work *work, const struct proposal *proposal)
{
    enum store_result result = STORE_OK;
    for (size_t i = 0; i < proposal->leg_count && result == STORE_OK; i++) {
        struct leg leg = proposal->legs[i];
        if (account_kind_of(leg.account) == ACCOUNT_UNACCOUNTED)
            result = ledger_add_forfeited(&work->ledger, account_cup_type(leg.account), leg.amount);
    }
    return result;
}

static enum store_result take_back(struct head_work *work, const struct proposal *proposal)
{
    enum store_result result = ledger_add_reference(&work->ledger, proposal->reverses);
    if (result == STORE_OK)
        result = ledger_flush(&work->ledger);
    return result == STORE_OK
               ? store_opening_shipments_reverse(work->pg, work->scheme->id, proposal->reverses)
               : result;
}

enum store_result opening_effects(struct head_work *work, const struct proposal *proposal, int64_t entry)
{
    enum store_result result = add_forfeited(work, proposal);
    if (result == STORE_OK && !is_opening(proposal))
        return take_back(work, proposal);
    if (result == STORE_OK)
        result = ledger_flush(&work->ledger);
    return result == STORE_OK ? store_opening_shipments(work->pg, work->scheme->id, entry) : result;
}
