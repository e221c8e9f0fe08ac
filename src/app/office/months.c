/* SPDX-License-Identifier: ISC */
/* A proposal is a recorded change, so it is made and decided on under the locks of these. They hold the head
 * row of every scheme: a journal is posted before the month closes, or is refused. */
#include "app/office/months.h"

#include "app/transaction/transaction.h"

static enum reason refusal(const struct month_change *change, const struct month_state *state)
{
    if (!state->exists)
        return REASON_NOT_FOUND;
    if (change->closes && state->closed)
        return REASON_MONTH_CLOSED;
    if (change->closes && !state->ended)
        return REASON_MONTH_NOT_ENDED;
    return !change->closes && !state->closed ? REASON_MONTH_OPEN : REASON_NONE;
}

static enum store_result check(struct pg *pg, const struct month_change *change, struct faults *faults)
{
    struct month_state state;
    enum store_result result = store_month_state(pg, change->scheme, change->first, &state);
    if (result == STORE_OK && refusal(change, &state) != REASON_NONE)
        faults_refuse(faults, refusal(change, &state));
    return result;
}

static enum store_result propose(struct pg *pg, const struct month_change *change, struct control *control)
{
    const struct weakening nothing_else = {
        .changes = "[]", .schemes = (int32_t[]){change->scheme}, .scheme_count = 1};
    return control_propose(pg, control, &nothing_else);
}

static enum store_result approve(struct pg *pg, struct month_change *change, struct control *control,
                                 struct arena *arena)
{
    change->proposal = control->author.proposal;
    change->now = control->now;
    change->key = control->author.key;
    enum store_result result = store_month_decide(pg, change);
    return result == STORE_OK ? control_end(pg, arena, control) : result;
}

static enum store_result decide(struct pg *pg, struct month_change *change, struct control *control,
                                struct faults *faults)
{
    int64_t version;
    enum store_result result = store_reference_lock(pg, &control->author, control->now, &version);
    if (result == STORE_OK)
        result = control_begin(pg, control, faults);
    if (result != STORE_OK || faults->count > 0 || control->decided)
        return result;
    result = check(pg, change, faults);
    if (result != STORE_OK || faults->count > 0)
        return result;
    return control->origins != NULL ? approve(pg, change, control, faults->arena)
                                    : propose(pg, change, control);
}

enum store_result month_change(struct pg *pg, struct month_change *change, struct control *control,
                               struct faults *faults)
{
    enum store_result result = pg_begin(pg);
    if (result == STORE_OK)
        result = decide(pg, change, control, faults);
    return transaction_end(pg, result, faults, !control->decided && !control->dry_run);
}
