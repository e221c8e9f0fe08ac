/* SPDX-License-Identifier: ISC */
/* The posting rules against posting_cases.txt, which an accountant can read. The test checks the legs of each
 * case, that they sum to zero in each unit, and that each row of the table has a case. It also checks the
 * table against the contract's own words and its worked example; there is no published source for a network's
 * bookkeeping. */
#include "depositd/fees.h"
#include "depositd/posting.h"
#include "suite.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { CASES_MAX = 200, ITEMS_MAX = 24, LEGS_MAX = 96, LINE_SIZE = 1024, SITE = 7 };

struct posting_case {
    char source[LINE_SIZE];
    struct posting_facts facts;
    struct posting_line lines[ITEMS_MAX];
    struct leg reversed[ITEMS_MAX];
    struct leg stated[ITEMS_MAX];
    struct due due[ITEMS_MAX];
    struct agreed agreed[ITEMS_MAX];
    struct leg expected[ITEMS_MAX];
    size_t expected_count;
};

static struct posting_case cases[CASES_MAX];
static size_t case_count;

static enum account_kind account_named(const char *word)
{
#define X(name, name_word, number, ...)                                                                      \
    if (strcmp(word, #name_word) == 0)                                                                       \
        return ACCOUNT_##name;
    ACCOUNT_TABLE(X)
#undef X
    ck_abort_msg("no account %s", word);
}

static enum entry_kind kind_named(const char *word)
{
    for (int kind = 1; kind < KIND_LIMIT; kind++)
        if (entry_kind_word((enum entry_kind)kind) != NULL &&
            strcmp(entry_kind_word((enum entry_kind)kind), word) == 0)
            return (enum entry_kind)kind;
    ck_abort_msg("no kind %s", word);
}

static struct leg read_leg(const char *text)
{
    char word[40];
    int owner = 0, cup_type = 0, used = 0;
    long long amount;
    ck_assert_int_eq(sscanf(text, " %39[a-z_]%n", word, &used), 1);
    text += used;
    enum account_kind kind = account_named(word);
    if (*text == '(') {
        enum account_scope scope = account_kind_scope(kind);
        if (scope == SCOPE_PAIR) {
            int host;
            ck_assert_int_eq(sscanf(text, "(%d,%d)%n", &owner, &host, &used), 2);
            owner = account_pair(owner, host);
        } else if (scope == SCOPE_SITE_CUP_TYPE || scope == SCOPE_OTHER_CUP_TYPE)
            ck_assert_int_eq(sscanf(text, "(%d,%d)%n", &owner, &cup_type, &used), 2);
        else
            ck_assert_int_eq(sscanf(text, "(%d)%n", scope == SCOPE_CUP_TYPE ? &cup_type : &owner, &used), 1);
        text += used;
    }
    ck_assert_int_eq(sscanf(text, "%lld", &amount), 1);
    return (struct leg){account_of(kind, owner, cup_type), amount};
}

static void read_line(struct posting_case *one, enum line_list list, const char *text)
{
    struct posting_line *line = &one->lines[one->facts.line_count++];
    long long n, value, other;
    int used;
    line->list = list;
    line->damaged = *text == '!';
    ck_assert_int_eq(sscanf(text + line->damaged, "%dx%lld@%lld%n", &line->cup_type, &n, &value, &used), 3);
    line->n.count = n;
    line->value.minor = line->tariff.minor = line->change.minor = value;
    text += line->damaged + used;
    if (sscanf(text, "~%lld", &other) == 1)
        line->tariff.minor = other;
    if (sscanf(text, "^%lld", &other) == 1)
        line->dispatch_value.minor = other;
    if (sscanf(text, "/%lld", &other) == 1)
        line->site = (int32_t)other;
    if (sscanf(text, "+%lld", &other) == 1)
        line->home = (int32_t)other;
}

static enum line_target target_named(const char *text)
{
    static const char *const targets[] = {
        [LINE_FOR_SETTLEMENT] = "settlement", [LINE_FOR_ARREARS] = "arrears",
        [LINE_FOR_CHARGES] = "charges",       [LINE_FOR_INTEREST] = "interest",
        [LINE_FOR_OPERATOR] = "operator",     [LINE_FOR_BETWEEN] = "between",
    };
    for (size_t i = LINE_FOR_SETTLEMENT; i < sizeof targets / sizeof targets[0]; i++)
        if (strcmp(text, targets[i]) == 0)
            return (enum line_target)i;
    ck_abort_msg("no target %s", text);
}

static void read_fact(struct posting_case *one, const char *text)
{
    static const char *const lists[] = {"issued", "returned", "cups",    "counted", "out",
                                        "stock",  "transit",  "type",    "placed",  "shipped",
                                        "held",   "gone",     "missing", "visiting"};
    struct posting_facts *facts = &one->facts;
    char word[20];
    int used;
    ck_assert_int_eq(sscanf(text, " %19[a-z] %n", word, &used), 1);
    text += used;
    for (size_t i = 0; i < sizeof lists / sizeof lists[0]; i++)
        if (strcmp(word, lists[i]) == 0) {
            read_line(one, (enum line_list)i, text);
            return;
        }
    long long number = strtoll(text, NULL, 10);
    if (strcmp(word, "till") == 0)
        facts->till.minor = number;
    else if (strcmp(word, "tax") == 0)
        facts->tax_rate.ppm = (int32_t)number;
    else if (strcmp(word, "sender") == 0)
        facts->sender = (int32_t)number;
    else if (strcmp(word, "receiver") == 0)
        facts->receiver = (int32_t)number;
    else if (strcmp(word, "participant") == 0)
        facts->participant = (int32_t)number;
    else if (strcmp(word, "clearing") == 0)
        facts->clearing.minor = number;
    else if (strcmp(word, "arrears") == 0)
        facts->arrears.minor = number;
    else if (strcmp(word, "charge") == 0)
        facts->charge_shortages = true;
    else if (strcmp(word, "reversed") == 0)
        one->reversed[facts->reversed_count++] = read_leg(text);
    else if (strcmp(word, "stated") == 0)
        one->stated[facts->stated_count++] = read_leg(text);
    else if (strcmp(word, "due") == 0) {
        struct due *due = &one->due[facts->due_count++];
        ck_assert_int_eq(sscanf(text, "%d %ld", &due->participant, &due->amount.minor), 2);
    } else if (strcmp(word, "agreed") == 0) {
        struct agreed *agreed = &one->agreed[facts->agreed_count++];
        ck_assert_int_eq(sscanf(text, "%d %d %ld", &agreed->home, &agreed->host, &agreed->booked.minor), 3);
    } else if (strcmp(word, "host") == 0)
        facts->host = (int32_t)number;
    else if (strcmp(word, "home") == 0)
        facts->home = (int32_t)number;
    else if (strcmp(word, "payer") == 0)
        facts->payer = (int32_t)number;
    else if (strcmp(word, "payee") == 0)
        facts->payee = (int32_t)number;
    else if (strcmp(word, "amount") == 0)
        facts->amount.minor = number;
    else if (strcmp(word, "for") == 0)
        facts->target = target_named(text);
    else if (strcmp(word, "bearer") == 0)
        facts->bearer = *text == 's' ? BEARER_SENDER : *text == 'r' ? BEARER_RECEIVER : BEARER_OPERATOR;
    else if (strcmp(word, "fee") == 0)
        ck_assert_int_eq(sscanf(text, "%ld %ld %ld %ld", &facts->service_fee.minor, &facts->service_tax.minor,
                                &facts->handling_fee.minor, &facts->handling_tax.minor),
                         4);
    else if (strcmp(word, "month") == 0)
        ck_assert_int_eq(sscanf(text, "%ld %ld", &facts->standing_fee.minor, &facts->standing_tax.minor), 2);
    else
        ck_abort_msg("no fact %s", word);
}

static char *trimmed(char *text)
{
    while (*text == ' ')
        text++;
    for (size_t length = strlen(text); length > 0 && strchr(" \n", text[length - 1]) != NULL; length--)
        text[length - 1] = '\0';
    return text;
}

static void read_case(char *line)
{
    struct posting_case *one = &cases[case_count++];
    char *part[4], *rest;
    snprintf(one->source, sizeof one->source, "%s", line);
    for (int i = 0; i < 4; i++) {
        ck_assert_ptr_nonnull(line);
        part[i] = strsep(&line, "|");
    }
    one->facts = (struct posting_facts){
        .kind = kind_named(trimmed(part[0])),
        .stock_terms = strcmp(trimmed(part[1]), "on_deposit") == 0 ? ON_DEPOSIT : ON_LOAN,
        .site = SITE,
        .lines = one->lines,
        .reversed = one->reversed,
        .stated = one->stated,
        .due = one->due,
        .agreed = one->agreed,
    };
    /* Commas stand between facts, and also within the brackets of an account. */
    for (char *at = part[2]; (at = strstr(at, ", ")) != NULL;)
        *at = ';';
    for (rest = part[2]; rest != NULL;) {
        char *fact = trimmed(strsep(&rest, ";"));
        if (*fact != '\0')
            read_fact(one, fact);
    }
    for (rest = part[3]; rest != NULL;) {
        char *leg = trimmed(strsep(&rest, ";"));
        if (*leg != '\0')
            one->expected[one->expected_count++] = read_leg(leg);
    }
}

static void read_cases(void)
{
    char line[LINE_SIZE];
    FILE *file = fopen(POSTING_CASES, "r");
    ck_assert_ptr_nonnull(file);
    case_count = 0;
    memset(cases, 0, sizeof cases);
    while (fgets(line, sizeof line, file) != NULL)
        if (*line != '#' && *line != '\n')
            read_case(line);
    fclose(file);
    ck_assert_uint_gt(case_count, 40);
}

static void assert_balanced(const struct posting_case *one, const struct leg_list *legs)
{
    for (size_t i = 0; i < legs->count; i++) {
        int64_t sum = 0;
        for (size_t l = 0; l < legs->count; l++)
            if (account_unit(legs->legs[l].account) == account_unit(legs->legs[i].account))
                sum += legs->legs[l].amount;
        ck_assert_msg(sum == 0, "does not balance: %s", one->source);
    }
}

START_TEST(every_case_has_its_legs)
{
    read_cases();
    for (size_t c = 0; c < case_count; c++) {
        const struct posting_case *one = &cases[c];
        struct leg buffer[LEGS_MAX];
        struct leg_list legs = {buffer, 0, posting_legs_max(&one->facts)};
        ck_assert_uint_le(legs.capacity, LEGS_MAX);
        ck_assert_int_eq(posting_derive(&one->facts, &legs), REASON_NONE);
        ck_assert_msg(legs.count == one->expected_count, "%zu legs, not %zu: %s", legs.count,
                      one->expected_count, one->source);
        for (size_t i = 0; i < legs.count; i++)
            ck_assert_msg(legs.legs[i].account.code == one->expected[i].account.code &&
                              legs.legs[i].amount == one->expected[i].amount,
                          "leg %zu is %s %lld: %s", i,
                          account_kind_word(account_kind_of(legs.legs[i].account)),
                          (long long)legs.legs[i].amount, one->source);
        assert_balanced(one, &legs);
    }
}
END_TEST

static bool condition_met(enum rule_when when, const struct posting_facts *facts)
{
    bool within = facts->host == 0;
    return when == ALWAYS || (when == WHEN_SENDER_BEARS && facts->bearer == BEARER_SENDER && within) ||
           (when == WHEN_RECEIVER_BEARS && facts->bearer == BEARER_RECEIVER && within) ||
           (when == WHEN_OPERATOR_BEARS && facts->bearer == BEARER_OPERATOR && within) ||
           (when == WHEN_RECEIVER_BEARS_FROM_HOST && facts->bearer == BEARER_RECEIVER && !within) ||
           (when == WHEN_WITHIN_SCHEME && within && facts->home == 0) ||
           (when == WHEN_SENT_HOME && facts->home != 0) || (when == WHEN_FROM_HOST && !within) ||
           (when == WHEN_SHORTAGES_CHARGED && facts->charge_shortages) ||
           (when == WHEN_PARTICIPANT_PAYS && facts->payer != 0) ||
           (when == WHEN_PARTICIPANT_IS_PAID && facts->payee != 0) ||
           (when == WHEN_POOL_PAYS && facts->payer == 0) ||
           (when == WHEN_POOL_IS_PAID && facts->payee == 0 && facts->host == 0) ||
           (when == WHEN_FOR_NOBODY && facts->target == LINE_OF_NOBODY) ||
           (when == WHEN_FOR_SETTLEMENT && facts->target == LINE_FOR_SETTLEMENT) ||
           (when == WHEN_FOR_ARREARS && facts->target == LINE_FOR_ARREARS) ||
           (when == WHEN_FOR_CHARGES && facts->target == LINE_FOR_CHARGES) ||
           (when == WHEN_FOR_INTEREST && facts->target == LINE_FOR_INTEREST) ||
           (when == WHEN_FOR_OPERATOR && facts->target == LINE_FOR_OPERATOR) ||
           (when == WHEN_FOR_BETWEEN && facts->target == LINE_FOR_BETWEEN);
}

static bool case_shows(const struct posting_case *one, const struct posting_rule *rule, enum entry_kind kind,
                       enum stock_terms terms)
{
    if (one->facts.kind != kind || one->facts.stock_terms != terms || !condition_met(rule->when, &one->facts))
        return false;
    for (size_t i = 0; i < one->expected_count; i++)
        if (rule->account == ACCOUNT_NONE || account_kind_of(one->expected[i].account) == rule->account)
            return true;
    return false;
}

/* Issues take nothing back and returns hand nothing out; a remeasured reversal on loan has no cups of a site.
 */
static bool can_happen(const struct posting_rule *rule, enum entry_kind kind)
{
    bool issues = rule->each == EACH_ISSUED;
    bool returns = rule->each == EACH_RETURNED || rule->each == EACH_RETURNED_SOUND ||
                   rule->each == EACH_RETURNED_DAMAGED || rule->each == EACH_VISITING ||
                   rule->each == EACH_VISITING_SOUND || rule->each == EACH_VISITING_DAMAGED ||
                   rule->each == EACH_AGREED;
    return !(kind == KIND_RETURN && issues) && !(kind == KIND_ISSUE && returns);
}

START_TEST(every_rule_has_a_case)
{
    size_t rule_count;
    const struct posting_rule *rules = posting_rules(&rule_count);
    read_cases();
    for (size_t r = 0; r < rule_count; r++)
        for (int kind = 1; kind < KIND_LIMIT; kind++)
            for (int terms = ON_LOAN; terms <= ON_DEPOSIT; terms++) {
                bool shown = false;
                if ((rules[r].kinds & 1u << kind) == 0 || !can_happen(&rules[r], (enum entry_kind)kind) ||
                    (rules[r].terms == IF_ON_LOAN && terms != ON_LOAN) ||
                    (rules[r].terms == IF_ON_DEPOSIT && terms != ON_DEPOSIT))
                    continue;
                for (size_t c = 0; c < case_count && !shown; c++)
                    shown = case_shows(&cases[c], &rules[r], (enum entry_kind)kind, (enum stock_terms)terms);
                ck_assert_msg(shown, "no case for rule %zu: %s, %s", r,
                              entry_kind_word((enum entry_kind)kind),
                              terms == ON_LOAN ? "on_loan" : "on_deposit");
            }
}
END_TEST

START_TEST(rules_never_mention_a_kind_without_one)
{
    for (int kind = 1; kind < KIND_LIMIT; kind++) {
        size_t rule_count, found = 0;
        const struct posting_rule *rules = posting_rules(&rule_count);
        for (size_t r = 0; r < rule_count; r++)
            found += (rules[r].kinds & 1u << kind) != 0;
        ck_assert_msg((found > 0) == (entry_kind_word((enum entry_kind)kind) != NULL), "kind %d", kind);
    }
}
END_TEST

START_TEST(an_amount_that_does_not_fit_is_refused)
{
    struct posting_line line = {
        .list = LIST_ISSUED, .cup_type = 1, .n = {QUANTITY_MAX}, .value = {INT64_MAX / 1000}};
    struct posting_facts facts = {.kind = KIND_ISSUE, .site = SITE, .lines = &line, .line_count = 1};
    struct leg buffer[LEGS_MAX];
    struct leg_list legs = {buffer, 0, LEGS_MAX};
    ck_assert_int_eq(posting_derive(&facts, &legs), REASON_OUT_OF_RANGE);
    struct money tariff, value;
    ck_assert_int_eq(posting_tariff(&line, 1, &tariff, &value), REASON_OUT_OF_RANGE);
    line.tariff = line.value;
    line.value = (struct money){1};
    ck_assert_int_eq(posting_tariff(&line, 1, &tariff, &value), REASON_OUT_OF_RANGE);
}
END_TEST

START_TEST(a_reversal_remeasures_the_cups_it_moves)
{
    const struct leg reversed[] = {{account_of(ACCOUNT_SITE_STOCK, SITE, 1), -10},
                                   {account_of(ACCOUNT_WITH_CUSTOMERS, 0, 1), 10},
                                   {account_of(ACCOUNT_WITH_CUSTOMERS, 0, 2), 4},
                                   {account_of(ACCOUNT_IN_TRANSIT, 0, 1), 3},
                                   {account_of(ACCOUNT_CUSTOMER_DEPOSITS, 0, 1), -3000}};
    const struct value_change changes[] = {{1, {100}}};
    struct posting_line lines[5];
    ck_assert_uint_eq(posting_revalue_reversed(reversed, 5, changes, 1, lines), 3);
    ck_assert_int_eq(lines[0].list, LIST_STOCK);
    ck_assert_int_eq(lines[0].n.count, 10);
    ck_assert_int_eq(lines[1].list, LIST_OUT);
    ck_assert_int_eq(lines[1].n.count, -10);
    ck_assert_int_eq(lines[1].change.minor, 100);
    ck_assert_int_eq(lines[2].list, LIST_TRANSIT);
    ck_assert_int_eq(lines[2].n.count, -3);
}
END_TEST

START_TEST(a_mirrored_leg_takes_activity_away)
{
    struct activity activity = {0};
    const struct leg clearing = {account_of(ACCOUNT_SITE_CLEARING, SITE, 0), 1250};
    const struct leg stock = {account_of(ACCOUNT_SITE_STOCK, SITE, 1), -5};
    const struct leg clearing_mirror = {clearing.account, -1250}, stock_mirror = {stock.account, 5};
    ck_assert(activity_add(&activity, KIND_ISSUE, false, clearing));
    ck_assert(activity_add(&activity, KIND_ISSUE, false, stock));
    ck_assert_int_eq(activity.collected, 1250);
    ck_assert_int_eq(activity.issued, 5);
    ck_assert(activity_add(&activity, KIND_ISSUE, true, clearing_mirror));
    ck_assert(activity_add(&activity, KIND_ISSUE, true, stock_mirror));
    ck_assert_int_eq(activity.collected, 0);
    ck_assert_int_eq(activity.issued, 0);
    ck_assert_int_eq(activity.refunded, 0);
    ck_assert_int_eq(activity.returned, 0);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("posting");
    TCase *tests = tcase_create("posting");
    tcase_add_test(tests, every_case_has_its_legs);
    tcase_add_test(tests, every_rule_has_a_case);
    tcase_add_test(tests, rules_never_mention_a_kind_without_one);
    tcase_add_test(tests, an_amount_that_does_not_fit_is_refused);
    tcase_add_test(tests, a_reversal_remeasures_the_cups_it_moves);
    tcase_add_test(tests, a_mirrored_leg_takes_activity_away);
    suite_add_tcase(suite, tests);
    return suite;
}
