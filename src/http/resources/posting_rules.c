/* SPDX-License-Identifier: ISC */
/* The posting rules, from the domain's table. */
#include "http/resources/handlers.h"

#include "depositd/posting.h"

static void add_kinds(struct buffer *text, uint32_t kinds)
{
    bool first = true;
    for (int kind = 1; kind < KIND_LIMIT; kind++) {
        if ((kinds & 1u << kind) == 0)
            continue;
        buffer_printf(text, "%s\"%s\"", first ? "" : ",", entry_kind_word((enum entry_kind)kind));
        first = false;
    }
}

/* All words come from tables and need no escaping. */
static void add_word(struct buffer *text, const char *name, const char *word)
{
    if (word != NULL && *word != '\0')
        buffer_printf(text, ",\"%s\":\"%s\"", name, word);
}

static const char *account_word(const struct posting_rule *rule)
{
    if (rule->account != ACCOUNT_NONE)
        return account_kind_word(rule->account);
    return rule->each == EACH_STATED_LEG ? "the stated leg's" : "the reversed leg's";
}

void handle_posting_rules(const struct request *request, struct answer *answer)
{
    size_t count;
    const struct posting_rule *rules = posting_rules(&count);
    struct buffer *text = &answer->body;
    (void)request;
    buffer_add_text(text, "{\"items\":[");
    for (size_t i = 0; i < count; i++) {
        buffer_add_text(text, i > 0 ? ",\n{\"kinds\":[" : "\n{\"kinds\":[");
        add_kinds(text, rules[i].kinds);
        buffer_add_char(text, ']');
        add_word(text, "terms", rule_terms_word(rules[i].terms));
        add_word(text, "when", rule_when_word(rules[i].when));
        add_word(text, "each", rule_each_word(rules[i].each));
        add_word(text, "side", rule_side_word(rules[i].side));
        add_word(text, "account", account_word(&rules[i]));
        add_word(text, "owner", rule_owner_word(rules[i].owner));
        add_word(text, "measure", rule_measure_word(rules[i].measure));
        buffer_add_char(text, '}');
    }
    buffer_add_text(text, "]}\n");
}
