/* SPDX-License-Identifier: ISC */
/* Nothing refuses an entry that follows: the host has paid out already. A fault would be ours, so it is
 * logged, and tried again until somebody has repaired it. Only an opening that waits for a second person
 * delays the home. */
#include "app/closing/returns_follow.h"

#include "app/posting/head_work.h"
#include "base/log.h"

#include <stdio.h>

enum {
    ENTRIES_MAX = 500, /* of a transaction */
    HEAD_WAIT_MS =
        500 /* the head is the writer's most of the time in a busy scheme; the clock has other work */
};

struct following {
    struct pair_behind pair;
    bool more;
};

static enum store_result take_patiently(void *context, struct head_work *work, struct faults *faults)
{
    (void)context;
    (void)faults;
    return pg_set_lock_wait(work->pg, HEAD_WAIT_MS);
}

/* The business day in which the instant lies. A reversal may be older than the home: it counts as of the
 * first day. */
static const struct business_day *day_of(const struct calendar *calendar, struct instant instant)
{
    const struct business_day *day = calendar_day_of(calendar, instant);
    if (day != NULL || calendar->count == 0)
        return day;
    return instant.us < calendar->days[0].starts_at.us ? &calendar->days[0]
                                                       : &calendar->days[calendar->count - 1];
}

static struct draft draft_of(const struct entry_to_follow *entry, const struct agreed *agreed,
                             const struct business_day *posting)
{
    return (struct draft){
        .business_date = posting->date,
        .occurred_at = entry->occurred_at,
        .agreed = agreed,
        .agreed_count = 1,
        .followed = &entry->followed,
    };
}

/* A return abroad is no reason for any other exception than over_returned. */
static enum store_result find_exceptions(struct head_work *work, const struct posting_facts *facts,
                                         const struct leg_list *legs, struct exception **found, size_t *count)
{
    int64_t *after;
    enum store_result result = post_balances_after(&work->ledger, legs, &after);
    if (result != STORE_OK)
        return result;
    const struct exception_facts of_entry = {
        .posting = facts, .legs = legs->legs, .leg_count = legs->count, .balances_after = after};
    *found = arena_array(&work->arena, exceptions_max(facts->line_count, legs->count, 0), sizeof **found);
    if (*found == NULL)
        return STORE_FAILED;
    *count = exceptions_find(&of_entry, *found);
    return STORE_OK;
}

static enum store_result follow_return(struct head_work *work, const struct entry_to_follow *entry)
{
    const struct business_day *day = day_of(&work->calendar, entry->occurred_at);
    const struct business_day *posting = day != NULL ? calendar_posting_day(&work->calendar, day) : NULL;
    struct agreed agreed = entry->agreed;
    struct posting_line *lines = arena_array(&work->arena, entry->cup_count + 1, sizeof *lines);
    struct exception *exceptions;
    struct leg_list legs;
    struct posting_facts facts = {.kind = KIND_RETURN_ABROAD,
                                  .stock_terms = work->scheme->stock_terms,
                                  .host = agreed.host,
                                  .lines = lines,
                                  .line_count = entry->cup_count,
                                  .agreed = &agreed,
                                  .agreed_count = 1};
    size_t exception_count;
    int64_t number;
    if (lines == NULL || posting == NULL)
        return STORE_FAILED;
    if (!post_book_agreed(&work->ledger, &agreed))
        return STORE_OUT_OF_RANGE;
    for (size_t i = 0; i < entry->cup_count; i++) {
        lines[i] = (struct posting_line){
            .list = LIST_CUPS, .cup_type = entry->cups[i].cup_type, .n = {entry->cups[i].quantity}};
        if (!scheme_value(work->scheme, lines[i].cup_type, posting->date, &lines[i].value))
            return STORE_FAILED; /* the host has seen to it that there is one */
    }
    struct draft draft = draft_of(entry, &agreed, posting);
    enum store_result result = post_derive(&work->ledger, &facts, &legs);
    if (result == STORE_OK)
        result = find_exceptions(work, &facts, &legs, &exceptions, &exception_count);
    if (result == STORE_OK)
        result = post_legs(&work->ledger, &facts, &legs, &draft, &number);
    for (size_t i = 0; i < exception_count && result == STORE_OK; i++)
        result = ledger_add_exception(&work->ledger, (int32_t)i, exceptions[i]);
    return result;
}

/* The lines that bring the cups, which are with customers again, to the value now in force. */
static enum store_result find_revalued(struct head_work *work, const struct follower_entry *reversed,
                                       struct date posting, struct posting_facts *facts)
{
    size_t count = 0;
    struct value_change *changes = arena_array(&work->arena, reversed->leg_count + 1, sizeof *changes);
    struct posting_line *lines = arena_array(&work->arena, reversed->leg_count + 1, sizeof *lines);
    if (changes == NULL || lines == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < reversed->leg_count; i++) {
        struct money before, now;
        int32_t cup_type = account_cup_type(reversed->legs[i].account);
        if (!account_counts_cups(reversed->legs[i].account) ||
            !scheme_value(work->scheme, cup_type, reversed->business_date, &before) ||
            !scheme_value(work->scheme, cup_type, posting, &now) ||
            !money_sub(now, before, &changes[count].change))
            continue;
        changes[count++].cup_type = cup_type;
    }
    facts->line_count = posting_revalue_reversed(reversed->legs, reversed->leg_count, changes, count, lines);
    facts->lines = lines;
    return STORE_OK;
}

/* A reversal occurs no earlier than on the day to which the reversed entry posted. The reversed entry may be
 * of this transaction, so what waits is written first. */
static enum store_result follow_reversal(struct head_work *work, const struct entry_to_follow *entry)
{
    struct follower_entry reversed;
    bool found;
    int64_t number;
    const struct pair_behind pair = {entry->agreed.home, entry->agreed.host};
    enum store_result result = ledger_flush(&work->ledger);
    if (result == STORE_OK)
        result = store_follower_of(work->pg, &work->arena, pair, entry->reversed, &reversed, &found);
    if (result != STORE_OK || !found)
        return result != STORE_OK ? result : STORE_FAILED;
    const struct business_day *day = day_of(&work->calendar, entry->occurred_at);
    if (day != NULL && day->date.days < reversed.business_date.days)
        day = calendar_day(&work->calendar, reversed.business_date);
    const struct business_day *posting = day != NULL ? calendar_posting_day(&work->calendar, day) : NULL;
    if (posting == NULL)
        return STORE_FAILED;
    struct posting_facts facts = {.kind = KIND_REVERSAL_ABROAD,
                                  .stock_terms = work->scheme->stock_terms,
                                  .host = pair.host,
                                  .reversed = reversed.legs,
                                  .reversed_count = reversed.leg_count};
    result = find_revalued(work, &reversed, posting->date, &facts);
    struct draft draft = draft_of(entry, &entry->agreed, posting);
    if (result == STORE_OK)
        result = post_facts(&work->ledger, &facts, &draft, &number);
    return result == STORE_OK ? ledger_add_reference(&work->ledger, reversed.entry) : result;
}

static void log_failure(const struct head_work *work, const struct entry_to_follow *entry)
{
    char number[24];
    snprintf(number, sizeof number, "%lld", (long long)entry->followed.entry);
    log_write(LOG_ERROR, "a return abroad can't be followed", "home", work->scheme->code, "host",
              work->network->scheme_by_id[entry->followed.host]->code, "entry", number, NULL);
}

static enum store_result follow(void *context, struct head_work *work, struct faults *faults)
{
    struct following *following = context;
    struct entry_to_follow *entries;
    size_t count = 0;
    int64_t after = 0;
    bool taken;
    (void)faults;
    enum store_result result = store_following_take(work->pg, following->pair, &after, &taken);
    following->more = false;
    if (result != STORE_OK || !taken) /* cups go home just now: the next turn follows */
        return result;
    const struct follow_range range = {following->pair, after, ENTRIES_MAX};
    if (result == STORE_OK)
        result = store_entries_to_follow(work->pg, &work->arena, &range, &entries, &count);
    following->more = count == ENTRIES_MAX;
    for (size_t i = 0; i < count && result == STORE_OK; i++) {
        result =
            entries[i].reversed != 0 ? follow_reversal(work, &entries[i]) : follow_return(work, &entries[i]);
        if (result == STORE_FAILED || result == STORE_OUT_OF_RANGE)
            log_failure(work, &entries[i]);
    }
    if (result == STORE_OK && count > 0)
        result = store_following_move(work->pg, following->pair, entries[count - 1].followed.entry);
    return result;
}

/* An opening that waits, and a head that somebody keeps, delay one home and nobody else. */
static enum store_result follow_pair(struct pg *pg, struct returns_follower *follower,
                                     struct pair_behind pair, bool *more)
{
    struct arena arena;
    struct faults faults;
    struct following following = {.pair = pair};
    const struct head_order order = {
        .scheme = pair.home, .before = take_patiently, .work = follow, .context = &following};
    arena_init(&arena, 0);
    faults_init(&faults, &arena);
    enum store_result result = head_work_run(pg, follower->snapshots, &order, &faults);
    *more = result == STORE_OK && faults.count == 0 && following.more;
    arena_dispose(&arena);
    return result;
}

static bool is_for_others(enum store_result result)
{
    return result != STORE_UNAVAILABLE && result != STORE_OUTCOME_UNKNOWN && result != STORE_TOO_SLOW;
}

enum store_result returns_follow(struct pg *pg, struct returns_follower *follower, bool *more)
{
    struct arena arena;
    struct pair_behind *pairs;
    size_t count = 0;
    *more = false;
    arena_init(&arena, 0);
    enum store_result result = store_pairs_behind(pg, &arena, follower->last, &pairs, &count);
    for (size_t i = 0; i < count && result == STORE_OK && !follower->has_enough(follower->context); i++) {
        bool has_more;
        enum store_result followed = follow_pair(pg, follower, pairs[i], &has_more);
        follower->last = pairs[i];
        *more = *more || has_more;
        if (!is_for_others(followed))
            result = followed;
    }
    arena_dispose(&arena);
    return result;
}
