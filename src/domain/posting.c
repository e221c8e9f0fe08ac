/* SPDX-License-Identifier: ISC */
/* Walks the posting rules: picks the rows that apply to an entry and computes their legs. */
#include "depositd/posting.h"

#include <assert.h>
#include <stdlib.h>

static bool rule_applies(const struct posting_rule *rule, const struct posting_facts *facts)
{
    if ((rule->kinds & 1u << facts->kind) == 0)
        return false;
    if (rule->terms != ANY_TERMS && (rule->terms == IF_ON_LOAN) != (facts->stock_terms == ON_LOAN))
        return false;
    switch (rule->when) {
    case ALWAYS:
        return true;
    case WHEN_SENDER_BEARS:
        return facts->bearer == BEARER_SENDER && facts->host == 0;
    case WHEN_RECEIVER_BEARS:
        return facts->bearer == BEARER_RECEIVER && facts->host == 0;
    case WHEN_OPERATOR_BEARS:
        return facts->bearer == BEARER_OPERATOR && facts->host == 0;
    case WHEN_RECEIVER_BEARS_FROM_HOST:
        return facts->bearer == BEARER_RECEIVER && facts->host != 0;
    case WHEN_WITHIN_SCHEME:
        return facts->home == 0 && facts->host == 0;
    case WHEN_SENT_HOME:
        return facts->home != 0;
    case WHEN_FROM_HOST:
        return facts->host != 0;
    case WHEN_SHORTAGES_CHARGED:
        return facts->charge_shortages;
    case WHEN_PARTICIPANT_PAYS:
        return facts->payer != 0;
    case WHEN_PARTICIPANT_IS_PAID:
        return facts->payee != 0;
    case WHEN_POOL_PAYS:
        return facts->payer == 0;
    case WHEN_POOL_IS_PAID:
        return facts->payee == 0 && facts->host == 0;
    case WHEN_FOR_NOBODY:
        return facts->target == LINE_OF_NOBODY;
    case WHEN_FOR_SETTLEMENT:
        return facts->target == LINE_FOR_SETTLEMENT;
    case WHEN_FOR_ARREARS:
        return facts->target == LINE_FOR_ARREARS;
    case WHEN_FOR_CHARGES:
        return facts->target == LINE_FOR_CHARGES;
    case WHEN_FOR_INTEREST:
        return facts->target == LINE_FOR_INTEREST;
    case WHEN_FOR_OPERATOR:
        return facts->target == LINE_FOR_OPERATOR;
    case WHEN_FOR_BETWEEN:
        return facts->target == LINE_FOR_BETWEEN;
    }
    assert(!"a rule's condition is one of the enum");
    return false;
}

static bool line_matches(enum rule_each each, const struct posting_line *line)
{
    switch (each) {
    case EACH_ISSUED:
        return line->list == LIST_ISSUED;
    case EACH_RETURNED:
        return line->list == LIST_RETURNED;
    case EACH_RETURNED_SOUND:
        return line->list == LIST_RETURNED && !line->damaged;
    case EACH_RETURNED_DAMAGED:
        return line->list == LIST_RETURNED && line->damaged;
    case EACH_CUPS:
        return line->list == LIST_CUPS;
    case EACH_CUPS_SOUND:
        return line->list == LIST_CUPS && !line->damaged;
    case EACH_CUPS_DAMAGED:
        return line->list == LIST_CUPS && line->damaged;
    case EACH_COUNTED:
        return line->list == LIST_COUNTED;
    case EACH_REVALUED_OUT:
        return line->list == LIST_OUT;
    case EACH_REVALUED_STOCK:
        return line->list == LIST_STOCK;
    case EACH_REVALUED_TRANSIT:
        return line->list == LIST_TRANSIT;
    case EACH_OPENED_TYPE:
        return line->list == LIST_OPENED_TYPE;
    case EACH_OPENED_AT_SITE:
        return line->list == LIST_OPENED_AT_SITE;
    case EACH_OPENED_SOUND:
        return line->list == LIST_OPENED_AT_SITE && !line->damaged;
    case EACH_OPENED_DAMAGED:
        return line->list == LIST_OPENED_AT_SITE && line->damaged;
    case EACH_OPENED_TRANSIT:
        return line->list == LIST_OPENED_TRANSIT;
    case EACH_OPENED_OUT:
        return line->list == LIST_OPENED_OUT;
    case EACH_OPENED_RETIRED:
        return line->list == LIST_OPENED_RETIRED;
    case EACH_OPENED_UNACCOUNTED:
        return line->list == LIST_OPENED_UNACCOUNTED;
    case EACH_VISITING:
        return line->list == LIST_VISITING;
    case EACH_VISITING_SOUND:
        return line->list == LIST_VISITING && !line->damaged;
    case EACH_VISITING_DAMAGED:
        return line->list == LIST_VISITING && line->damaged;
    case EACH_ENTRY:
    case EACH_REVERSED_LEG:
    case EACH_STATED_LEG:
    case EACH_DUE:
    case EACH_AGREED:
        return false;
    }
    return false;
}

/* The amount that a rule of one line measures. */
static bool measure_line(enum rule_measure measure, const struct posting_facts *facts,
                         const struct posting_line *line, int64_t *amount)
{
    struct money money = {0};
    if (measure == CUPS) {
        *amount = line->n.count;
        return true;
    }
    struct money unit = measure == DISPATCH_VALUE ? line->dispatch_value
                        : measure == VALUE_CHANGE ? line->change
                                                  : line->value;
    if (!money_times(unit, line->n, &money))
        return false;
    if (measure == TAX_WITHIN)
        money = money_tax_within(money, facts->tax_rate);
    else if (measure == VALUE_LESS_TAX && !money_sub(money, money_tax_within(money, facts->tax_rate), &money))
        return false;
    *amount = money.minor;
    return true;
}

static bool is_at_counter(enum line_list list)
{
    return list == LIST_ISSUED || list == LIST_RETURNED || list == LIST_VISITING;
}

static bool value_net(const struct posting_line *lines, size_t count, bool at_tariff, struct money *net)
{
    *net = (struct money){0};
    for (size_t i = 0; i < count; i++) {
        struct money part;
        if (!is_at_counter(lines[i].list))
            continue;
        if (!money_times(at_tariff ? lines[i].tariff : lines[i].value, lines[i].n, &part))
            return false;
        bool fits = lines[i].list == LIST_ISSUED ? money_add(*net, part, net) : money_sub(*net, part, net);
        if (!fits)
            return false;
    }
    return true;
}

/* The negated sum of the entry's money legs so far, starting at `first`. */
static bool rest_of(const struct leg_list *legs, size_t first, int64_t *amount)
{
    struct money sum = {0};
    for (size_t i = first; i < legs->count; i++)
        if (!account_counts_cups(legs->legs[i].account) &&
            !money_sub(sum, (struct money){legs->legs[i].amount}, &sum))
            return false;
    *amount = sum.minor;
    return true;
}

/* The amount that a rule of the whole entry measures. */
static bool measure_entry(enum rule_measure measure, const struct posting_facts *facts, int64_t *amount)
{
    struct money money = {0};
    bool fits = true;
    switch (measure) {
    case TILL:
        money = facts->till;
        break;
    case TILL_LESS_VALUE:
        fits = value_net(facts->lines, facts->line_count, false, &money) &&
               money_sub(facts->till, money, &money);
        break;
    case SERVICE_FEE:
        money = facts->service_fee;
        break;
    case SERVICE_TAX:
        money = facts->service_tax;
        break;
    case SERVICE_FEE_WITH_TAX:
        fits = money_add(facts->service_fee, facts->service_tax, &money);
        break;
    case HANDLING_FEE:
        money = facts->handling_fee;
        break;
    case HANDLING_TAX:
        money = facts->handling_tax;
        break;
    case HANDLING_FEE_WITH_TAX:
        fits = money_add(facts->handling_fee, facts->handling_tax, &money);
        break;
    case STANDING_FEE:
        money = facts->standing_fee;
        break;
    case STANDING_TAX:
        money = facts->standing_tax;
        break;
    case STANDING_FEE_WITH_TAX:
        fits = money_add(facts->standing_fee, facts->standing_tax, &money);
        break;
    case CLEARING_BALANCE:
        money = facts->clearing;
        break;
    case ARREARS_BALANCE:
        money = facts->arrears;
        break;
    case AMOUNT:
        money = facts->amount;
        break;
    case CUPS:
    case VALUE:
    case DISPATCH_VALUE:
    case VALUE_CHANGE:
    case TAX_WITHIN:
    case VALUE_LESS_TAX:
    case REST:
    case MIRROR:
    case STATED:
    case AGREED:
        assert(!"a measure of lines stands in a rule of the entry");
    }
    *amount = money.minor;
    return fits;
}

/* `line` is NULL where a rule makes one leg for the entry. */
static struct account rule_account(const struct posting_rule *rule, const struct posting_facts *facts,
                                   const struct posting_line *line)
{
    const int32_t owners[] = {
        [OF_NOBODY] = 0,
        [AT_SITE] = facts->site,
        [AT_SENDER] = facts->sender,
        [AT_RECEIVER] = facts->receiver,
        [OF_PARTICIPANT] = facts->participant,
        [OF_PAYER] = facts->payer,
        [OF_PAYEE] = facts->payee,
        [AT_SITE_OF_LINE] = line != NULL ? line->site : 0,
        [OF_HOME] = line != NULL ? line->home : 0,
        [OF_HOST] = facts->host,
        [OF_PAIR] = 0, /* add_agreed has it */
    };
    return account_of(rule->account, owners[rule->owner], line != NULL ? line->cup_type : 0);
}

static bool add_leg(struct leg_list *legs, struct account account, enum rule_side side, int64_t amount)
{
    if (amount == 0)
        return true;
    if (amount == INT64_MIN)
        return false;
    assert(legs->count < legs->capacity);
    legs->legs[legs->count++] = (struct leg){account, side == DEBIT ? amount : -amount};
    return true;
}

static bool add_mirror(const struct posting_facts *facts, struct leg_list *legs)
{
    for (size_t i = 0; i < facts->reversed_count; i++)
        if (!add_leg(legs, facts->reversed[i].account, CREDIT, facts->reversed[i].amount))
            return false;
    return true;
}

static bool add_stated(const struct posting_facts *facts, struct leg_list *legs)
{
    for (size_t i = 0; i < facts->stated_count; i++)
        if (!add_leg(legs, facts->stated[i].account, DEBIT, facts->stated[i].amount))
            return false;
    return true;
}

static bool add_due(const struct posting_rule *rule, const struct posting_facts *facts, struct leg_list *legs)
{
    for (size_t i = 0; i < facts->due_count; i++)
        if (!add_leg(legs, account_of(rule->account, facts->due[i].participant, 0), rule->side,
                     facts->due[i].amount.minor))
            return false;
    return true;
}

static bool add_agreed(const struct posting_rule *rule, const struct posting_facts *facts,
                       struct leg_list *legs)
{
    for (size_t i = 0; i < facts->agreed_count; i++) {
        const struct agreed *agreed = &facts->agreed[i];
        int32_t owner = rule->owner == OF_HOST ? agreed->host : account_pair(agreed->home, agreed->host);
        if (!add_leg(legs, account_of(rule->account, owner, 0), rule->side, agreed->booked.minor))
            return false;
    }
    return true;
}

static bool apply_rule(const struct posting_rule *rule, const struct posting_facts *facts, size_t first,
                       struct leg_list *legs)
{
    int64_t amount;
    if (rule->each == EACH_REVERSED_LEG)
        return add_mirror(facts, legs);
    if (rule->each == EACH_STATED_LEG)
        return add_stated(facts, legs);
    if (rule->each == EACH_DUE)
        return add_due(rule, facts, legs);
    if (rule->each == EACH_AGREED)
        return add_agreed(rule, facts, legs);
    if (rule->measure == REST)
        return rest_of(legs, first, &amount) && add_leg(legs, rule_account(rule, facts, NULL), DEBIT, amount);
    if (rule->each == EACH_ENTRY)
        return measure_entry(rule->measure, facts, &amount) &&
               add_leg(legs, rule_account(rule, facts, NULL), rule->side, amount);
    for (size_t i = 0; i < facts->line_count; i++) {
        const struct posting_line *line = &facts->lines[i];
        if (!line_matches(rule->each, line))
            continue;
        if (!measure_line(rule->measure, facts, line, &amount) ||
            !add_leg(legs, rule_account(rule, facts, line), rule->side, amount))
            return false;
    }
    return true;
}

/* The amounts that clients post are bounded, so that no balance can ever grow out of its 64 bits. */
static bool amounts_are_sane(const struct posting_facts *facts, const struct leg_list *legs, size_t first)
{
    for (size_t i = first; i < legs->count && entry_kind_is_event(facts->kind); i++)
        if (legs->legs[i].amount > MONEY_STATED_MAX || legs->legs[i].amount < -MONEY_STATED_MAX)
            return false;
    return true;
}

enum reason posting_derive(const struct posting_facts *facts, struct leg_list *legs)
{
    size_t rule_count, first = legs->count;
    const struct posting_rule *rules = posting_rules(&rule_count);
    for (size_t i = 0; i < rule_count; i++)
        if (rule_applies(&rules[i], facts) && !apply_rule(&rules[i], facts, first, legs))
            return REASON_OUT_OF_RANGE;
    return amounts_are_sane(facts, legs, first) ? REASON_NONE : REASON_OUT_OF_RANGE;
}

size_t posting_legs_max(const struct posting_facts *facts)
{
    /* No kind of entry has more than eight rules for a line, nor more than nine for the entry. */
    return facts->line_count * 8 + facts->reversed_count + facts->stated_count + facts->due_count +
           facts->agreed_count + 9;
}

enum reason posting_tariff(const struct posting_line *lines, size_t count, struct money *tariff,
                           struct money *value)
{
    bool fits = value_net(lines, count, true, tariff) && value_net(lines, count, false, value);
    return fits ? REASON_NONE : REASON_OUT_OF_RANGE;
}

bool posting_revalued_list(enum account_kind kind, enum line_list *list)
{
    switch (account_kind_holds(kind)) {
    case HOLDS_OUT:
        *list = LIST_OUT;
        return true;
    case HOLDS_STOCK:
        *list = LIST_STOCK;
        return true;
    case HOLDS_TRANSIT:
        *list = LIST_TRANSIT;
        return true;
    case HOLDS_GONE:
    case HOLDS_MONEY:
        return false;
    }
    abort();
}

size_t posting_revalue_reversed(const struct leg *reversed, size_t reversed_count,
                                const struct value_change *changes, size_t change_count,
                                struct posting_line *lines)
{
    size_t count = 0;
    for (size_t i = 0; i < reversed_count; i++) {
        struct posting_line line = {.cup_type = account_cup_type(reversed[i].account),
                                    .n = {-reversed[i].amount}};
        if (!posting_revalued_list(account_kind_of(reversed[i].account), &line.list))
            continue;
        for (size_t c = 0; c < change_count; c++)
            if (changes[c].cup_type == line.cup_type)
                line.change = changes[c].change;
        if (line.change.minor != 0)
            lines[count++] = line;
    }
    return count;
}
