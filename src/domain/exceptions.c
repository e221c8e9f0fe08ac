/* SPDX-License-Identifier: ISC */
/* Finding exceptions: each of the functions below looks for one thing. */
#include "depositd/exceptions.h"

#include <assert.h>

static const char *const words[EXCEPTION_KINDS] = {
#define X(name, word, meaning) [EXCEPTION_##name] = #word,
    EXCEPTION_TABLE(X)
#undef X
};

struct finder {
    const struct exception_facts *facts;
    struct exception *found;
    size_t count;
};

const char *exception_word(enum exception_kind kind)
{
    return words[kind];
}

bool exception_takes_two(enum exception_kind kind)
{
    return kind == EXCEPTION_TAKEN_OUT_BEYOND;
}

struct money exception_taken_beyond(struct money taken, struct money free_before)
{
    int64_t free_amount = free_before.minor > 0 ? free_before.minor : 0;
    return (struct money){taken.minor > free_amount ? taken.minor - free_amount : 0};
}

static void add_plain(struct finder *finder, enum exception_kind kind)
{
    finder->found[finder->count++] = (struct exception){.kind = kind};
}

static void add_quantity(struct finder *finder, enum exception_kind kind, int32_t cup_type, int64_t quantity)
{
    finder->found[finder->count++] =
        (struct exception){.kind = kind, .cup_type = cup_type, .has_quantity = true, .quantity = quantity};
}

static void find_off_tariff(struct finder *finder)
{
    if (!finder->facts->amount_stated || finder->facts->off_tariff.minor == 0)
        return;
    finder->found[finder->count++] = (struct exception){
        .kind = EXCEPTION_OFF_TARIFF, .has_amount = true, .amount = finder->facts->off_tariff};
}

static bool is_first_of_its_type(const struct posting_facts *posting, size_t line)
{
    for (size_t i = 0; i < line; i++)
        if (posting->lines[i].cup_type == posting->lines[line].cup_type)
            return false;
    return true;
}

static void find_late_tariff(struct finder *finder)
{
    const struct posting_facts *posting = finder->facts->posting;
    if (finder->facts->late_tariff.minor != 0)
        finder->found[finder->count++] = (struct exception){
            .kind = EXCEPTION_LATE_TARIFF, .has_amount = true, .amount = finder->facts->late_tariff};
    for (size_t i = 0; i < posting->line_count; i++)
        if (posting->lines[i].without_tariff && is_first_of_its_type(posting, i))
            finder->found[finder->count++] =
                (struct exception){.kind = EXCEPTION_NO_TARIFF, .cup_type = posting->lines[i].cup_type};
}

/* An account is looked at once, at the first of its legs, if the entry as a whole takes from it. */
static bool takes_from(const struct exception_facts *facts, size_t leg)
{
    int64_t net = 0;
    for (size_t i = 0; i < facts->leg_count; i++) {
        if (facts->legs[i].account.code != facts->legs[leg].account.code)
            continue;
        if (i < leg)
            return false;
        net += facts->legs[i].amount;
    }
    return net < 0;
}

static void find_below_zero(struct finder *finder)
{
    const struct exception_facts *facts = finder->facts;
    enum entry_kind kind = facts->posting->kind;
    for (size_t i = 0; i < facts->leg_count; i++) {
        struct account account = facts->legs[i].account;
        int64_t after = facts->balances_after[i];
        if (!account_counts_cups(account) || after >= 0 || !takes_from(facts, i))
            continue;
        switch (account_kind_holds(account_kind_of(account))) {
        case HOLDS_STOCK:
            add_quantity(finder, EXCEPTION_NEGATIVE_STOCK, account_cup_type(account), after);
            break;
        case HOLDS_OUT:
            if (entry_kind_activity(kind) == ACTIVITY_COUNTER || kind == KIND_RETURN_ABROAD)
                add_quantity(finder, EXCEPTION_OVER_RETURNED, account_cup_type(account), after);
            break;
        case HOLDS_TRANSIT:
        case HOLDS_GONE:
        case HOLDS_MONEY:
            break;
        }
    }
}

/* The cups of another scheme that are gone, beyond those that came. Such an account is looked at once, as
 * above. */
static void find_beyond_visiting(struct finder *finder)
{
    const struct exception_facts *facts = finder->facts;
    for (size_t i = 0; i < facts->leg_count; i++) {
        struct account account = facts->legs[i].account;
        bool is_first = true;
        int64_t taken = 0;
        if (account_kind_of(account) != ACCOUNT_VISITING || facts->legs[i].amount <= 0)
            continue;
        for (size_t leg = 0; leg < facts->leg_count; leg++)
            taken += facts->legs[leg].account.code == account.code ? facts->legs[leg].amount : 0;
        for (size_t before = 0; before < i; before++)
            is_first = is_first && facts->legs[before].account.code != account.code;
        if (is_first && facts->balances_after[i] > 0)
            add_quantity(finder, EXCEPTION_BEYOND_VISITING, account_cup_type(account),
                         facts->balances_after[i] < taken ? facts->balances_after[i] : taken);
    }
}

static int64_t moved_of(const struct posting_facts *posting, int32_t cup_type, bool damaged)
{
    int64_t moved = 0;
    for (size_t i = 0; i < posting->line_count; i++)
        if (posting->lines[i].cup_type == cup_type && posting->lines[i].damaged == damaged)
            moved += posting->lines[i].n.count;
    return moved;
}

static int64_t open_of(const struct transfer_open *transfer)
{
    return transfer->sent - transfer->received - transfer->lost;
}

/* The cups that a receipt or a loss takes off the road beyond those that are there: of each line in turn. */
static void find_over(struct finder *finder, enum exception_kind over)
{
    const struct exception_facts *facts = finder->facts;
    for (size_t i = 0; i < facts->posting->line_count; i++) {
        const struct posting_line *line = &facts->posting->lines[i];
        int64_t open = 0;
        for (size_t t = 0; t < facts->transfer_count; t++)
            if (facts->transfer[t].cup_type == line->cup_type && facts->transfer[t].damaged == line->damaged)
                open = open_of(&facts->transfer[t]);
        if (open < 0)
            open = 0;
        if (line->n.count > open)
            add_quantity(finder, over, line->cup_type, line->n.count - open);
    }
}

static void find_short(struct finder *finder)
{
    const struct exception_facts *facts = finder->facts;
    for (size_t t = 0; t < facts->transfer_count; t++) {
        const struct transfer_open *transfer = &facts->transfer[t];
        int64_t missing = open_of(transfer) - moved_of(facts->posting, transfer->cup_type, transfer->damaged);
        if (missing > 0)
            add_quantity(finder, EXCEPTION_RECEIPT_SHORT, transfer->cup_type, missing);
    }
}

/* A receipt or a loss was reversed of a dispatch that has arrived in part: the cups that are missing now are
 * short again. */
static void find_short_again(struct finder *finder)
{
    const struct exception_facts *facts = finder->facts;
    int64_t received = 0;
    for (size_t t = 0; t < facts->transfer_count; t++)
        received += facts->transfer[t].received;
    for (size_t t = 0; t < facts->transfer_count && received > 0; t++)
        if (open_of(&facts->transfer[t]) > 0)
            add_quantity(finder, EXCEPTION_RECEIPT_SHORT, facts->transfer[t].cup_type,
                         open_of(&facts->transfer[t]));
}

static void find_count_off(struct finder *finder)
{
    const struct posting_facts *posting = finder->facts->posting;
    int64_t tolerance = finder->facts->count_tolerance.count;
    for (size_t i = 0; i < posting->line_count; i++) {
        const struct posting_line *line = &posting->lines[i];
        if (line->list == LIST_COUNTED && (line->n.count > tolerance || line->n.count < -tolerance))
            add_quantity(finder, EXCEPTION_COUNT_OFF, line->cup_type, line->n.count);
    }
}

static void find_of_transfer(struct finder *finder)
{
    switch (entry_kind_effect(finder->facts->posting->kind)) {
    case EFFECT_RECEIVED:
        find_over(finder, EXCEPTION_RECEIPT_OVER);
        if (finder->facts->received_elsewhere)
            add_plain(finder, EXCEPTION_RECEIPT_ELSEWHERE);
        find_short(finder);
        break;
    case EFFECT_LOST:
        find_over(finder, EXCEPTION_LOSS_OVER);
        break;
    case EFFECT_SENT:
    case EFFECT_FORFEITED:
    case EFFECT_REINSTATED:
    case EFFECT_NOTHING:
        break;
    }
}

size_t exceptions_find(const struct exception_facts *facts, struct exception *found)
{
    struct finder finder = {.facts = facts, .found = found};
    if (facts->late)
        add_plain(&finder, EXCEPTION_LATE);
    if (facts->site_closed)
        add_plain(&finder, EXCEPTION_SITE_CLOSED);
    find_off_tariff(&finder);
    find_late_tariff(&finder);
    find_below_zero(&finder);
    if (entry_kind_effect(facts->posting->kind) == EFFECT_SENT)
        find_beyond_visiting(&finder);
    find_of_transfer(&finder);
    if (facts->posting->kind == KIND_REVERSAL)
        find_short_again(&finder);
    find_count_off(&finder);
    return finder.count;
}

size_t exceptions_max(size_t line_count, size_t leg_count, size_t transfer_count)
{
    return 5 + 3 * line_count + leg_count + transfer_count;
}
