/* SPDX-License-Identifier: ISC */
/* A person at the counter reads one sentence while a customer waits. So the money comes first, and the
 * direction is a word, not a sign. */
#include "http/pages/page_counter_words.h"

#include "depositd/event.h"
#include "depositd/exceptions.h"
#include "http/request/json_body.h"

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
            buffer_add_text(said, " (damaged)");
    }
}

/* Words before and after the cups of an event that is no exchange. */
static const struct {
    const char *before, *after;
} around[KIND_LIMIT] = {
    [KIND_ISSUE] = {"", " out"},
    [KIND_RETURN] = {"", " back"},
    [KIND_SUPPLY] = {"Supplied: ", ""},
    [KIND_DISPATCH] = {"Sent away: ", ""},
    [KIND_RECEIPT] = {"Arrived: ", ""},
    [KIND_TRANSIT_LOSS] = {"Lost on the road: ", ""},
    [KIND_DAMAGE] = {"Found damaged: ", ""},
    [KIND_RETIRE] = {"Retired: ", ""},
    [KIND_COUNT] = {"Counted: ", ""},
};

static void say_deed(struct buffer *said, const json_t *event, enum entry_kind kind)
{
    if (kind == KIND_EXCHANGE) {
        add_cups(said, event, "returned");
        buffer_add_text(said, " back, ");
        add_cups(said, event, "issued");
        buffer_add_text(said, " out");
        return;
    }
    buffer_add_text(said, around[kind].before != NULL ? around[kind].before : "");
    add_cups(said, event, NULL);
    buffer_add_text(said, around[kind].after != NULL ? around[kind].after : "");
}

void counter_say_what(struct buffer *said, const json_t *event, const char *currency)
{
    enum entry_kind kind = kind_of(event, "kind");
    (void)currency;
    if (kind != KIND_REVERSAL) {
        say_deed(said, event, kind);
        return;
    }
    buffer_add_text(said, "Undone: ");
    say_deed(said, event, kind_of(event, "undone_kind"));
}

/* "Take 5.00 CAD", "Give 5.00 CAD", or "No money". */
static void say_amount(struct buffer *said, const json_t *event, const char *currency)
{
    const char *till = json_member_text(event, "till");
    const char *digits = till + strspn(till, "-");
    if (till[strspn(till, "-0.")] == '\0')
        buffer_add_text(said, "No money");
    else
        buffer_printf(said, "%s %s %s", *till == '-' ? "Give" : "Take", digits, currency);
}

void counter_say_money(struct buffer *said, const json_t *event, const char *currency)
{
    enum entry_kind kind = kind_of(event, "kind");
    bool has_till = *json_member_text(event, "till") != '\0';
    if (has_till)
        say_amount(said, event, currency);
    if (kind == KIND_ISSUE || kind == KIND_RETURN) {
        buffer_add_text(said, " for ");
        add_cups(said, event, NULL);
    } else {
        buffer_add_text(said, has_till ? ": " : "");
        counter_say_what(said, event, currency);
    }
    buffer_add_char(said, '.');
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
    long long quantity = json_integer_value(json_object_get(exception, "quantity"));
    if (kind == EXCEPTION_OFF_TARIFF)
        buffer_printf(said, "By the tariff, the drawer should hold %s %s %s.", amount + strspn(amount, "-"),
                      currency, *amount == '-' ? "more" : "less");
    else if (kind == EXCEPTION_SITE_CLOSED)
        buffer_add_text(said, "The site's last day has passed.");
    else if (kind == EXCEPTION_NEGATIVE_STOCK)
        buffer_printf(said,
                      "%s: by the books %lld more went out than there were. Count them, and tell the "
                      "office.",
                      cup_type, -quantity);
    else if (kind == EXCEPTION_OVER_RETURNED)
        buffer_printf(said, "%s: by the books more came back than were out.", cup_type);
    else if (kind < EXCEPTION_KINDS)
        buffer_add_text(said, meanings[kind]);
}
