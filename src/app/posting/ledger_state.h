/* SPDX-License-Identifier: ISC */
/* The state of a ledger after its last entry, as far as it has been asked for. It may be kept from one
 * transaction to the next, and is current until somebody else appends. A rollback spoils it. */
#ifndef DEPOSITD_APP_POSTING_LEDGER_STATE_H
#define DEPOSITD_APP_POSTING_LEDGER_STATE_H

#include "app/posting/movement_sums.h"
#include "store/ledger_store.h"

struct ledger_state {
    struct arena *arena;
    struct head head;      /* with all that has been appended */
    struct pairs accounts; /* where in `balances` a cup account is, if its balance is known */
    int64_t *balances;
    size_t balance_capacity;
    struct day_counters *days;
    size_t day_count, day_capacity;
    struct arena *recent_arena;  /* emptied at each fold; NULL: the owner always writes at once */
    struct movement_sums recent; /* the movements that are not in the balances yet … */
    bool recent_known;           /* … if all of them are known */
    int recent_batches;          /* the batches that they are of, since the state was made or folded */
};

/* The new state knows only the head. It has `recent_arena` for itself. */
void ledger_state_init(struct ledger_state *state, struct arena *arena, struct arena *recent_arena,
                       const struct head *head);

/* Takes in the batches of others that lead from the state's last entry to the head. False: a batch is
 * missing, or there is no memory, and the state is spoilt. */
MUST_CHECK bool ledger_state_catch_up(struct ledger_state *state, const struct head_request *request);

/* *position: the place of the account's balance in `balances`. False: the balance is not known. */
MUST_CHECK bool ledger_state_find(const struct ledger_state *state, int64_t account, uint32_t *position);
/* From now on the balance is known; if it was known before, nothing changes. */
MUST_CHECK enum store_result ledger_state_learn(struct ledger_state *state, int64_t account, int64_t balance);
/* Does nothing if the balance is not known. False: the balance would not fit. */
MUST_CHECK bool ledger_state_add(struct ledger_state *state, struct account account, int64_t amount);

/* The counters of a day. NULL: they are not known. */
struct day_counters *ledger_state_day(const struct ledger_state *state, struct date date);
/* From now on the day's counters are known. NULL: out of memory. */
MUST_CHECK struct day_counters *ledger_state_learn_day(struct ledger_state *state,
                                                       const struct day_counters *day);

/* After a fold: no movements are beside the balances any more. */
void ledger_state_forget_recent(struct ledger_state *state);

#endif
