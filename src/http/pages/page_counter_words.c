/* SPDX-License-Identifier: ISC */
/* A person at the counter reads one sentence while a customer waits. So the money comes first, and the
 * direction is a word, not a sign. */
#include "http/pages/page_counter_words.h"

#include "depositd/event.h"
#include "depositd/exceptions.h"
#include "http/request/json_body.h"
#include "words/words.h"

#include <stdio.h>
#include <string.h>

static enum entry_kind kind_of(const json_t *event, const char *member)
{
    const char *word = json_member_text(event, member);
    for (int kind = 1; kind < KIND_LIMIT; kind++) {
        const char *known = entry_kind_word((enum entry_kind)kind);
        if (known != NULL && strcmp(known, word) == 0)
            return (enum entry_kind)kind;
    }
    return KIND_NONE;
}

bool counter_may_undo(const json_t *event)
{
    enum entry_kind kind = kind_of(event, "kind");
    return kind != KIND_NONE && kind != KIND_REVERSAL && (entry_kind_posters(kind) & FOR_POS) != 0;
}

/* Begins a text that becomes part of a sentence in the same language. */
static void begin_part(struct buffer *part, const struct buffer *said)
{
    buffer_init(part, said->maximum);
    part->words = said->words;
    buffer_add_text(part, "");
}

static const char *part_text(const struct buffer *part)
{
    return part->data != NULL ? part->data : "";
}

static void add_damaged(struct buffer *said)
{
    buffer_add_char(said, ' ');
    words_say(said, "(damaged)", NULL);
}

/* Adds the cups of a list of the event. `list` NULL: of all lists. */
static void add_cups(struct buffer *said, const json_t *event, const char *list)
{
    size_t index, count = 0;
    json_t *line;
    json_array_foreach(json_object_get(event, "lines"), index, line)
    {
        if (list != NULL && strcmp(json_member_text(line, "list"), list) != 0)
            continue;
        buffer_add_text(said, count++ > 0 ? ", " : "");
        buffer_add_text(said, json_member_text(line, "quantity"));
        buffer_add_text(said, " × ");
        buffer_add_text(said, json_member_text(line, "cup_type"));
        if (json_is_true(json_object_get(line, "damaged")))
            add_damaged(said);
    }
}

/* The sentence about the cups of an event that is no exchange. */
static const char *const deeds[KIND_LIMIT] = {
    [KIND_ISSUE] = "%1 out",
    [KIND_RETURN] = "%1 back",
    [KIND_SUPPLY] = "Supplied: %1",
    [KIND_DISPATCH] = "Sent away: %1",
    [KIND_RECEIPT] = "Arrived: %1",
    [KIND_TRANSIT_LOSS] = "Lost on the road: %1",
    [KIND_DAMAGE] = "Found damaged: %1",
    [KIND_RETIRE] = "Retired: %1",
    [KIND_COUNT] = "Counted: %1",
};

static void say_deed(struct buffer *said, const json_t *event, enum entry_kind kind)
{
    struct buffer cups, issued;
    begin_part(&cups, said);
    begin_part(&issued, said);
    add_cups(&cups, event, kind == KIND_EXCHANGE ? "returned" : NULL);
    if (kind == KIND_EXCHANGE) {
        add_cups(&issued, event, "issued");
        words_say(said, "%1 back, %2 out", part_text(&cups), part_text(&issued));
    } else {
        words_say(said, deeds[kind] != NULL ? deeds[kind] : "%1", part_text(&cups));
    }
    buffer_dispose(&cups);
    buffer_dispose(&issued);
}

void counter_say_what(struct buffer *said, const json_t *event, const char *currency)
{
    enum entry_kind kind = kind_of(event, "kind");
    struct buffer deed;
    (void)currency;
    if (kind != KIND_REVERSAL) {
        say_deed(said, event, kind);
        return;
    }
    begin_part(&deed, said);
    say_deed(&deed, event, kind_of(event, "undone_kind"));
    words_say(said, "Undone: %1", part_text(&deed));
    buffer_dispose(&deed);
}

/* The money that goes over the counter with an event of cups, and with any other event. */
enum { TAKE, GIVE, NO_MONEY };
static const char *const for_cups[] = {
    [TAKE] = "Take %1 for %2.", [GIVE] = "Give %1 for %2.", [NO_MONEY] = "No money for %2."};
static const char *const for_deed[] = {
    [TAKE] = "Take %1: %2.", [GIVE] = "Give %1: %2.", [NO_MONEY] = "No money: %2."};

void counter_say_money(struct buffer *said, const json_t *event, const char *currency)
{
    enum entry_kind kind = kind_of(event, "kind");
    const char *till = json_member_text(event, "till");
    int money = till[strspn(till, "-0.")] == '\0' ? NO_MONEY : *till == '-' ? GIVE : TAKE;
    bool by_cups = kind == KIND_ISSUE || kind == KIND_RETURN;
    struct buffer amount, what;
    begin_part(&amount, said);
    begin_part(&what, said);
    buffer_printf(&amount, "%s %s", till + strspn(till, "-"), currency);
    if (by_cups)
        add_cups(&what, event, NULL);
    else
        counter_say_what(&what, event, currency);
    if (*till != '\0')
        words_say(said, by_cups ? for_cups[money] : for_deed[money], part_text(&amount), part_text(&what));
    else
        words_say(said, "%1.", part_text(&what));
    buffer_dispose(&amount);
    buffer_dispose(&what);
}

/* An exception that is not about the counter keeps the text that it has elsewhere. */
static const char *const meanings[] = {
#define X(name, word, meaning) [EXCEPTION_##name] = meaning,
    EXCEPTION_TABLE(X)
#undef X
};

static enum exception_kind exception_of(const char *word)
{
    enum exception_kind kind = 0;
    while (kind < EXCEPTION_KINDS && strcmp(exception_word(kind), word) != 0)
        kind++;
    return kind;
}

void counter_say_exception(struct buffer *said, const json_t *exception, const char *currency)
{
    enum exception_kind kind = exception_of(json_member_text(exception, "exception"));
    const char *cup_type = json_member_text(exception, "cup_type"),
               *amount = json_member_text(exception, "amount");
    char more[32];
    struct buffer should;
    begin_part(&should, said);
    snprintf(more, sizeof more, "%lld",
             -(long long)json_integer_value(json_object_get(exception, "quantity")));
    buffer_printf(&should, "%s %s", amount + strspn(amount, "-"), currency);
    if (kind == EXCEPTION_OFF_TARIFF && *amount == '-')
        words_say(said, "By the tariff, the drawer should hold %1 more.", part_text(&should));
    else if (kind == EXCEPTION_OFF_TARIFF)
        words_say(said, "By the tariff, the drawer should hold %1 less.", part_text(&should));
    else if (kind == EXCEPTION_SITE_CLOSED)
        words_say(said, "The site's last day has passed.", NULL);
    else if (kind == EXCEPTION_NEGATIVE_STOCK)
        words_say(said, "%1: by the books %2 more went out than there were. Count them, and tell the office.",
                  cup_type, more);
    else if (kind == EXCEPTION_OVER_RETURNED)
        words_say(said, "%1: by the books more came back than were out.", cup_type);
    else if (kind < EXCEPTION_KINDS)
        words_say(said, meanings[kind], NULL);
    buffer_dispose(&should);
}
