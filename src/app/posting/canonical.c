/* SPDX-License-Identifier: ISC */
/* Writing canonical JSON. The member names below stand in ascending order, as RFC 8785 wants them. */
#include "app/posting/canonical.h"

#include <assert.h>
#include <string.h>

enum { RATE_DECIMALS = 12 };
#define RATE_ONE_E12 INT64_C(1000000000000)

/* A comma unless this is the first member, then the name. */
static void member(struct buffer *text, const char *name)
{
    if (text->length > 0 && text->data[text->length - 1] != '{')
        buffer_add_char(text, ',');
    buffer_add_char(text, '"');
    buffer_add_text(text, name);
    buffer_add_text(text, "\":");
}

static void string_value(struct buffer *text, const char *value)
{
    buffer_add_json_string(text, value, strlen(value));
}

static void string_member(struct buffer *text, const char *name, const char *value)
{
    if (value == NULL || *value == '\0')
        return;
    member(text, name);
    string_value(text, value);
}

static void uuid_member(struct buffer *text, const char *name, const struct uuid *uuid)
{
    char written[UUID_TEXT_MAX];
    uuid_format(uuid, written);
    string_member(text, name, written);
}

static void amount_member(struct buffer *text, const char *name, struct decimal amount)
{
    char written[MONEY_TEXT_MAX];
    money_format((struct money){amount.unscaled}, amount.scale, written);
    string_member(text, name, written);
}

static void instant_member(struct buffer *text, const char *name, struct instant instant)
{
    char written[INSTANT_TEXT_MAX];
    instant_format(instant, written);
    string_member(text, name, written);
}

static void integer_member(struct buffer *text, const char *name, int64_t number)
{
    member(text, name);
    buffer_add_integer(text, number);
}

/* A comma unless this is the first element of the list, then the bracket. */
static void object_begin(struct buffer *text, size_t i)
{
    buffer_add_text(text, i > 0 ? ",{" : "{");
}

static void ids_member(struct buffer *text, const struct cup_line *line)
{
    if (line->id_count == 0)
        return;
    member(text, "ids");
    buffer_add_char(text, '[');
    for (size_t i = 0; i < line->id_count; i++) {
        if (i > 0)
            buffer_add_char(text, ',');
        string_value(text, line->ids[i].text);
    }
    buffer_add_char(text, ']');
}

static void lines_member(struct buffer *text, const char *name, const struct cup_lines *lines, bool counted)
{
    if (lines->count == 0)
        return;
    member(text, name);
    buffer_add_char(text, '[');
    for (size_t i = 0; i < lines->count; i++) {
        const struct cup_line *line = &lines->lines[i];
        object_begin(text, i);
        if (line->damaged)
            string_member(text, "condition", "damaged");
        if (counted)
            integer_member(text, "counted", line->quantity.count);
        string_member(text, "cup_type", line->cup_type);
        string_member(text, "home", line->home);
        ids_member(text, line);
        if (!counted)
            integer_member(text, "quantity", line->quantity.count);
        buffer_add_char(text, '}');
    }
    buffer_add_char(text, ']');
}

static void stated_legs_member(struct buffer *text, const struct event *event)
{
    if (event->leg_count == 0)
        return;
    member(text, "legs");
    buffer_add_char(text, '[');
    for (size_t i = 0; i < event->leg_count; i++) {
        object_begin(text, i);
        string_member(text, "account", event->legs[i].account);
        amount_member(text, "amount", event->legs[i].amount);
        buffer_add_char(text, '}');
    }
    buffer_add_char(text, ']');
}

static void due_member(struct buffer *text, const struct opening *opening)
{
    if (opening->due_count == 0)
        return;
    member(text, "due");
    buffer_add_char(text, '[');
    for (size_t i = 0; i < opening->due_count; i++) {
        object_begin(text, i);
        amount_member(text, "amount", opening->due[i].amount);
        string_member(text, "participant", opening->due[i].participant);
        buffer_add_char(text, '}');
    }
    buffer_add_char(text, ']');
}

static void places_member(struct buffer *text, const struct opening *opening)
{
    member(text, "places");
    buffer_add_char(text, '[');
    for (size_t i = 0; i < opening->place_count; i++) {
        const struct place_line *line = &opening->places[i];
        object_begin(text, i);
        if (line->cups.damaged)
            string_member(text, "condition", "damaged");
        string_member(text, "cup_type", line->cups.cup_type);
        ids_member(text, &line->cups);
        string_member(text, "place", cup_place_word(line->place));
        integer_member(text, "quantity", line->cups.quantity.count);
        string_member(text, "site", line->site);
        buffer_add_char(text, '}');
    }
    buffer_add_char(text, ']');
}

static void shipments_member(struct buffer *text, const struct opening *opening)
{
    if (opening->shipment_count == 0)
        return;
    member(text, "shipments");
    buffer_add_char(text, '[');
    for (size_t i = 0; i < opening->shipment_count; i++) {
        const struct shipment *shipment = &opening->shipments[i];
        object_begin(text, i);
        lines_member(text, "cups", &shipment->cups, false);
        uuid_member(text, "dispatch", &shipment->dispatch);
        string_member(text, "site", shipment->site);
        string_member(text, "to", shipment->to);
        buffer_add_char(text, '}');
    }
    buffer_add_char(text, ']');
}

void canonical_event(const struct event *event, struct buffer *text)
{
    const struct opening *opening = event->opening;
    buffer_add_char(text, '{');
    if (event->amount_stated)
        amount_member(text, "amount", event->amount);
    if (opening != NULL)
        amount_member(text, "bank", opening->bank);
    string_member(text, "batch", event->batch);
    string_member(text, "bearer", bearer_word(event->bearer));
    lines_member(text, "cups", &event->cups, event->kind == KIND_COUNT);
    if (entry_kind_refers(event->kind) == REFERS_DISPATCH)
        uuid_member(text, "dispatch", &event->refers);
    if (opening != NULL)
        due_member(text, opening);
    uuid_member(text, "event_id", &event->id);
    string_member(text, "host", event->host);
    lines_member(text, "issued", &event->issued, false);
    string_member(text, "kind", entry_kind_word(event->kind));
    stated_legs_member(text, event);
    if (event->mass_g >= 0)
        integer_member(text, "mass_g", event->mass_g);
    instant_member(text, "occurred_at", event->occurred_at);
    if (opening != NULL)
        places_member(text, opening);
    string_member(text, "reason", event->reason);
    if (event->reference != NULL) { /* may be empty */
        member(text, "reference");
        string_value(text, event->reference);
    }
    lines_member(text, "returned", &event->returned, false);
    if (entry_kind_refers(event->kind) == REFERS_REVERSED)
        uuid_member(text, "reverses", &event->refers);
    string_member(text, "scheme", event->scheme);
    if (event->names_shipment)
        uuid_member(text, "shipment", &event->shipment);
    if (opening != NULL)
        shipments_member(text, opening);
    string_member(text, "site", event->site);
    string_member(text, "tender", tender_word(event->tender));
    string_member(text, "to", event->to);
    buffer_add_char(text, '}');
}

void canonical_approved(const char *event, const char *key, struct buffer *text)
{
    buffer_add_char(text, '{');
    string_member(text, "approved_by", key); /* comes before all that such an event has */
    buffer_add_char(text, ',');
    buffer_add_text(text, event + 1);
}

static const char *cup_type_code(const struct network *network, int32_t id)
{
    return network->cup_type_by_id[id]->code;
}

void canonical_account(const struct network *network, struct account account, struct buffer *text)
{
    enum account_kind kind = account_kind_of(account);
    int32_t owner = account_owner(account);
    buffer_add_text(text, account_kind_word(kind));
    switch (account_kind_scope(kind)) {
    case SCOPE_SCHEME:
        break;
    case SCOPE_CUP_TYPE:
        buffer_printf(text, "(%s)", cup_type_code(network, account_cup_type(account)));
        break;
    case SCOPE_SITE:
        buffer_printf(text, "(%s)", network->site_by_id[owner]->code);
        break;
    case SCOPE_SITE_CUP_TYPE:
        buffer_printf(text, "(%s,%s)", network->site_by_id[owner]->code,
                      cup_type_code(network, account_cup_type(account)));
        break;
    case SCOPE_PARTICIPANT:
        buffer_printf(text, "(%s)", network->participant_by_id[owner]->code);
        break;
    case SCOPE_PAIR:
        buffer_printf(text, "(%s,%s)", network->scheme_by_id[account_home(account)]->code,
                      network->scheme_by_id[account_host(account)]->code);
        break;
    case SCOPE_OTHER:
        buffer_printf(text, "(%s)", network->scheme_by_id[owner]->code);
        break;
    case SCOPE_OTHER_CUP_TYPE:
        buffer_printf(text, "(%s,%s)", network->scheme_by_id[owner]->code,
                      cup_type_code(network, account_cup_type(account)));
        break;
    }
}

static void leg_object(const struct canonical_entry *entry, const struct leg *leg, struct buffer *text)
{
    buffer_add_char(text, '{');
    member(text, "account");
    buffer_add_char(text, '"');
    canonical_account(entry->network, leg->account, text); /* codes and words: nothing to escape */
    buffer_add_char(text, '"');
    if (account_counts_cups(leg->account)) {
        member(text, "cups");
        buffer_add_integer(text, leg->amount);
    } else {
        amount_member(text, "amount", (struct decimal){leg->amount, entry->scheme->currency->decimals});
    }
    buffer_add_char(text, '}');
}

/* 1.085 */
static void rate_member(struct buffer *text, int64_t rate_e12)
{
    int64_t decimals = rate_e12 % RATE_ONE_E12;
    int digits = RATE_DECIMALS;
    for (; digits > 0 && decimals % 10 == 0; digits--)
        decimals /= 10;
    member(text, "rate");
    buffer_printf(text, "\"%lld", (long long)(rate_e12 / RATE_ONE_E12));
    if (digits > 0)
        buffer_printf(text, ".%0*lld", digits, (long long)decimals);
    buffer_add_char(text, '"');
}

void canonical_agreed(const struct network *network, const struct agreed *agreed, size_t count,
                      struct buffer *text)
{
    buffer_add_char(text, '[');
    for (size_t i = 0; i < count; i++) {
        const struct scheme *home = network->scheme_by_id[agreed[i].home];
        const struct scheme *host = network->scheme_by_id[agreed[i].host];
        const struct currency *currency = agreed[i].in_host_currency ? host->currency : home->currency;
        object_begin(text, i);
        amount_member(text, "amount", (struct decimal){agreed[i].exact.minor, currency->decimals});
        string_member(text, "currency", currency->code);
        string_member(text, "currency_of", agreed[i].in_host_currency ? "host" : "home");
        string_member(text, "home", home->code);
        string_member(text, "host", host->code);
        rate_member(text, agreed[i].rate_e12);
        buffer_add_char(text, '}');
    }
    buffer_add_char(text, ']');
}

void canonical_followed(const struct network *network, const struct followed *followed, struct buffer *text)
{
    char hash[SHA256_HEX_MAX];
    sha256_hex(&followed->hash, hash);
    buffer_add_char(text, '{');
    integer_member(text, "entry", followed->entry);
    uuid_member(text, "event_id", &followed->event_id);
    string_member(text, "hash", hash);
    string_member(text, "scheme", network->scheme_by_id[followed->host]->code);
    buffer_add_char(text, '}');
}

static void text_member(struct buffer *text, const char *name, const char *json)
{
    if (json == NULL)
        return;
    member(text, name);
    buffer_add_text(text, json);
}

void canonical_leaf(const struct canonical_entry *entry, struct buffer *text)
{
    char date[DATE_TEXT_MAX];
    date_format(entry->business_date, date);
    buffer_add_char(text, '{');
    text_member(text, "agreed", entry->agreed);
    string_member(text, "business_date", date);
    member(text, "entry");
    buffer_add_integer(text, entry->entry);
    text_member(text, "event", entry->event);
    text_member(text, "follows", entry->followed);
    string_member(text, "kind", entry_kind_word(entry->kind));
    member(text, "legs");
    buffer_add_char(text, '[');
    for (size_t i = 0; i < entry->leg_count; i++) {
        if (i > 0)
            buffer_add_char(text, ',');
        leg_object(entry, &entry->legs[i], text);
    }
    buffer_add_char(text, ']');
    string_member(text, "scheme", entry->scheme->code);
    buffer_add_char(text, '}');
}
