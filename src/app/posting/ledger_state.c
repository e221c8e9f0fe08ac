/* SPDX-License-Identifier: ISC */
/* Balances by their accounts, and catching up with what other writers have posted. */
#include "app/posting/ledger_state.h"

enum { DAYS_AT_FIRST = 2 };

void ledger_state_init(struct ledger_state *state, struct arena *arena, struct arena *recent_arena,
                       const struct head *head)
{
    *state = (struct ledger_state){
        .arena = arena,
        .head = *head,
        .recent_arena = recent_arena,
        .recent_known = head->unfolded == 0,
    };
    movement_sums_init(&state->recent, recent_arena);
    pairs_init(&state->accounts, arena);
}

bool ledger_state_find(const struct ledger_state *state, int64_t account, uint32_t *position)
{
    return pairs_find(&state->accounts, (struct pair){account, 0}, position);
}

enum store_result ledger_state_learn(struct ledger_state *state, int64_t account, int64_t balance)
{
    uint32_t position;
    bool added;
    if (!pairs_put(&state->accounts, (struct pair){account, 0}, &position, &added) ||
        !arena_grow(state->arena, &state->balances, position, &state->balance_capacity,
                    sizeof *state->balances))
        return STORE_FAILED;
    if (added)
        state->balances[position] = balance;
    return STORE_OK;
}

bool ledger_state_add(struct ledger_state *state, struct account account, int64_t amount)
{
    uint32_t position;
    return !ledger_state_find(state, account.code, &position) ||
           !__builtin_add_overflow(state->balances[position], amount, &state->balances[position]);
}

struct day_counters *ledger_state_day(const struct ledger_state *state, struct date date)
{
    for (size_t i = 0; i < state->day_count; i++)
        if (state->days[i].date.days == date.days)
            return &state->days[i];
    return NULL;
}

/* A day's counters are large, and mostly one or two days are open. So there is room for few at first. */
struct day_counters *ledger_state_learn_day(struct ledger_state *state, const struct day_counters *day)
{
    if (state->days == NULL) {
        state->days = arena_array(state->arena, DAYS_AT_FIRST, sizeof *state->days);
        state->day_capacity = state->days != NULL ? DAYS_AT_FIRST : 0;
    }
    if (!arena_grow(state->arena, &state->days, state->day_count, &state->day_capacity, sizeof *state->days))
        return NULL;
    state->days[state->day_count] = *day;
    return &state->days[state->day_count++];
}

static bool leads_to_head(const struct ledger_state *state, const struct head_request *request)
{
    int64_t entry = state->head.last_entry;
    for (size_t i = 0; i < request->recent_count; i++) {
        if (request->recent[i].after_entry != entry)
            return false;
        entry = request->recent[i].last_entry;
    }
    return entry == request->head.last_entry;
}

void ledger_state_forget_recent(struct ledger_state *state)
{
    arena_reset(state->recent_arena);
    movement_sums_init(&state->recent, state->recent_arena);
    state->recent_known = true;
    state->recent_batches = 0;
}

static bool take_in(struct ledger_state *state, const struct recent_batch *batch)
{
    struct movement_sums moved = {
        .movements = batch->movements,
        .movement_keys.count = (uint32_t)batch->movement_count,
        .site_days = batch->site_days,
        .site_day_keys.count = (uint32_t)batch->site_day_count,
    };
    for (size_t i = 0; i < batch->movement_count; i++)
        if (!ledger_state_add(state, batch->movements[i].account, batch->movements[i].amount))
            return false;
    if (batch->last_entry <= state->head.folded_through)
        return true;
    state->recent_batches++;
    return !state->recent_known || movement_sums_add_all(&state->recent, &moved) == STORE_OK;
}

bool ledger_state_catch_up(struct ledger_state *state, const struct head_request *request)
{
    const struct head *head = &request->head;
    if (!leads_to_head(state, request))
        return false;
    /* If the other writer has folded, the batches that it left have all movements since then. */
    if (head->folded_through > state->head.folded_through)
        ledger_state_forget_recent(state);
    state->head = *head;
    for (size_t i = 0; i < state->day_count; i++)
        for (size_t d = 0; d < request->day_count; d++)
            if (state->days[i].date.days == request->days[d].date.days)
                state->days[i] = request->days[d];
    for (size_t i = 0; i < request->recent_count; i++)
        if (!take_in(state, &request->recent[i]))
            return false;
    return true;
}
