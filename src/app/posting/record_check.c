/* SPDX-License-Identifier: ISC */
/* The ladder of checks. On the way it gathers the facts for the domain: its days, its lines with their
 * values, its till amount. */
#include "app/posting/record_check.h"

#include "app/posting/record_bearer.h"
#include "app/posting/record_home.h"
#include "app/posting/record_legs.h"
#include "app/posting/record_opening.h"
#include "app/posting/record_refer.h"
#include "store/remaking_store.h"

#include <assert.h>
#include <stdio.h>

enum { POINTER_MAX = 64 };

static void refuse(struct recording *recording, enum reason reason, const char *pointer, const char *detail)
{
    faults_add(recording->faults, reason, pointer, "%s", detail);
}

/* A till may name any batch of its scheme, because the new cups and their papers stand before it. */
static enum store_result check_batch(struct recording *recording)
{
    bool stands = true;
    const struct ledger *ledger = recording->ledger;
    const char *batch = recording->event->batch;
    if (*batch == '\0')
        return STORE_OK;
    enum store_result result = store_batch_stands(ledger->pg, ledger->scheme->id, batch, &stands);
    if (result == STORE_OK && !stands)
        refuse(recording, REASON_BATCH_UNKNOWN, "/batch",
               "the scheme has no such batch, or it was withdrawn");
    return result;
}

/* A reversal occurs no earlier than on the day of the event that it reverses. */
static void find_days(struct recording *recording)
{
    const struct calendar *calendar = recording->ledger->calendar;
    const struct event *event = recording->event;
    if (event->occurred_at.us > recording->ledger->now.us + FUTURE_ALLOWED_US) {
        refuse(recording, REASON_OCCURRED_IN_FUTURE, "/occurred_at", "more than 5 minutes from now");
        return;
    }
    if (calendar->count == 0) {
        refuse(recording, REASON_SCHEME_NOT_OPEN, "", "the scheme has no terms yet");
        return;
    }
    recording->occurrence = calendar_day_of(calendar, event->occurred_at);
    if (recording->occurrence == NULL) {
        refuse(recording, REASON_BEFORE_FIRST_DAY, "/occurred_at", "before the scheme's first business day");
        return;
    }
    if (event->kind == KIND_REVERSAL && recording->referred.found &&
        recording->referred.business_date.days > recording->occurrence->date.days)
        recording->occurrence = calendar_day(calendar, recording->referred.business_date);
    recording->posting = calendar_posting_day(calendar, recording->occurrence);
    assert(recording->posting != NULL); /* the day that contains now is never closed */
    recording->terms = scheme_terms(recording->ledger->scheme, recording->posting->date);
    assert(recording->terms != NULL); /* the first day is that of the first terms */
    recording->terms_then = scheme_terms(recording->ledger->scheme, recording->occurrence->date);
    if (recording->terms_then == NULL)
        recording->terms_then = recording->terms;
}

static void check_open(struct recording *recording, const struct site *site, const char *pointer)
{
    if (site != NULL && site->opened_on.days > recording->occurrence->date.days)
        refuse(recording, REASON_SITE_NOT_OPEN, pointer, "the site opened on a later day");
}

/* The day of occurrence counts: an event before the end is still a fact, however late it is posted. */
static void check_end(struct recording *recording)
{
    const struct identity *identity = recording->submission->identity;
    uint32_t posters = entry_kind_posters_after_end(recording->event->kind);
    if (recording->occurrence->date.days <= recording->ledger->scheme->closed_on.days)
        return;
    if ((posters & 1u << identity->role) == 0)
        refuse(recording, REASON_SCHEME_ENDED, "",
               posters == BY_NOBODY ? "the scheme has ended: no more cups go out"
                                    : "the scheme has ended: this is for an accountant");
}

/* Finds the values of the cups of a line: on the posting day, by the tariff, and on the day of the dispatch.
 * False: the cup type has no value on the posting day. */
static bool find_values(const struct recording *recording, struct posting_line *line)
{
    const struct scheme *scheme = recording->ledger->scheme;
    bool at_counter = line->list == LIST_ISSUED || line->list == LIST_RETURNED || line->list == LIST_VISITING;
    if (!scheme_value(scheme, line->cup_type, recording->posting->date, &line->value))
        return false;
    if (!scheme_value(scheme, line->cup_type, recording->occurrence->date, &line->tariff)) {
        line->tariff = line->value;
        line->without_tariff = at_counter;
    }
    if (recording->referred.dispatch != 0 && !record_is_between(recording) &&
        !scheme_value(scheme, line->cup_type, recording->transfer.business_date, &line->dispatch_value))
        line->dispatch_value = line->value; /* a type that was not in the dispatch, and new since */
    return true;
}

static void add_line(struct recording *recording, enum line_list list, const char *name, size_t index,
                     const struct cup_line *cups)
{
    char pointer[POINTER_MAX];
    const struct ledger *ledger = recording->ledger;
    const struct cup_type *type = network_cup_type(ledger->network, cups->cup_type);
    struct posting_line line = {
        .list = list, .damaged = cups->damaged, .n = cups->quantity, .home = recording->home};
    snprintf(pointer, sizeof pointer, "/%s/%zu/cup_type", name, index);
    if (*cups->home != '\0')
        line.list = LIST_VISITING;
    if (type == NULL) {
        refuse(recording, REASON_CUP_TYPE_UNKNOWN, pointer, "there is no such cup type");
        return;
    }
    line.cup_type = type->id;
    if (recording->posting == NULL)
        return;
    if (line.list == LIST_VISITING && !record_find_home(recording, cups, index, &line.home))
        return;
    if (!find_values(recording, &line)) {
        refuse(recording, REASON_NO_REFUND_VALUE, pointer,
               "the cup type has no refund value on the day to which the event posts");
        return;
    }
    recording->lines[recording->line_count++] = line;
}

static void add_lines(struct recording *recording, enum line_list list, const char *name,
                      const struct cup_lines *lines)
{
    for (size_t i = 0; i < lines->count; i++)
        add_line(recording, list, name, i, &lines->lines[i]);
}

static enum store_result find_lines(struct recording *recording)
{
    const struct event *event = recording->event;
    size_t most =
        event->issued.count + event->returned.count + event->cups.count + recording->referred.leg_count;
    recording->lines = arena_array(recording->ledger->arena, most + 1, sizeof *recording->lines);
    if (recording->lines == NULL)
        return STORE_FAILED;
    if (!record_begin_homes(recording))
        return STORE_FAILED;
    add_lines(recording, LIST_RETURNED, "returned", &event->returned);
    add_lines(recording, LIST_ISSUED, "issued", &event->issued);
    add_lines(recording, event->kind == KIND_COUNT ? LIST_COUNTED : LIST_CUPS, "cups", &event->cups);
    return STORE_OK;
}

/* Turns the lines of a count into differences from the book as it stood at that instant. */
static enum store_result find_differences(struct recording *recording)
{
    struct ledger *ledger = recording->ledger;
    const struct book_moment moment = {.scheme = ledger->scheme->id,
                                       .site = recording->submission->site->id,
                                       .instant = recording->event->occurred_at,
                                       .day = recording->occurrence->date};
    struct leg *later;
    size_t later_count;
    enum store_result result = ledger_flush(ledger);
    if (result == STORE_OK)
        result = store_book_after(ledger->pg, ledger->arena, &moment, &later, &later_count);
    for (size_t i = 0; i < recording->line_count && result == STORE_OK; i++) {
        struct posting_line *line = &recording->lines[i];
        struct account stock =
            account_of(ACCOUNT_SITE_STOCK, recording->submission->site->id, line->cup_type);
        int64_t book;
        result = ledger_balance(ledger, stock, &book);
        for (size_t l = 0; l < later_count && result == STORE_OK; l++)
            if (later[l].account.code == stock.code)
                book -= later[l].amount;
        line->n.count -= book;
    }
    return result;
}

/* Finds the lines that bring reversed cups to the value now in force. */
static enum store_result find_revalued(struct recording *recording)
{
    const struct ledger *ledger = recording->ledger;
    const struct referred *referred = &recording->referred;
    size_t count = 0;
    struct value_change *changes = arena_array(ledger->arena, referred->leg_count + 1, sizeof *changes);
    if (changes == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < referred->leg_count; i++) {
        struct money before, now;
        int32_t cup_type = account_cup_type(referred->legs[i].account);
        if (!account_counts_cups(referred->legs[i].account) ||
            !scheme_value(ledger->scheme, cup_type, referred->business_date, &before) ||
            !scheme_value(ledger->scheme, cup_type, recording->posting->date, &now) ||
            !money_sub(now, before, &changes[count].change))
            continue;
        changes[count++].cup_type = cup_type;
    }
    recording->line_count =
        posting_revalue_reversed(referred->legs, referred->leg_count, changes, count, recording->lines);
    return STORE_OK;
}

/* Finds the till amount: the stated one, or the tariff. In a return the stated amount is the one paid out.
 * The terms of the day of occurrence decide which counts, so that nobody gains by posting late. */
static void find_till(struct recording *recording)
{
    const struct event *event = recording->event;
    struct money tariff, value, stated = {event->amount.unscaled};
    if (posting_tariff(recording->lines, recording->line_count, &tariff, &value) != REASON_NONE ||
        !money_sub(tariff, value, &recording->exception_facts.late_tariff)) {
        refuse(recording, REASON_OUT_OF_RANGE, "", "the value of the cups is too large");
        return;
    }
    if (event->amount_stated && event->amount.scale != recording->ledger->scheme->currency->decimals) {
        faults_add(recording->faults, REASON_AMOUNT_DECIMALS, "/amount", "%s has %u decimals",
                   recording->ledger->scheme->currency->code, recording->ledger->scheme->currency->decimals);
        return;
    }
    if (event->kind == KIND_RETURN)
        stated.minor = -stated.minor;
    recording->facts.till =
        event->amount_stated && !recording->terms_then->charge_variances ? stated : tariff;
    recording->exception_facts.amount_stated = event->amount_stated;
    recording->exception_facts.off_tariff.minor = stated.minor - tariff.minor;
}

static int64_t forfeited_or_zero(int64_t cups)
{
    return cups > 0 ? cups : 0;
}

/* No more cups may be forfeited than customers hold, and no more reinstated than are forfeited. */
static enum store_result check_quantity(struct recording *recording, enum kind_effect effect,
                                        int32_t cup_type, int64_t quantity, const char *pointer)
{
    struct ledger *ledger = recording->ledger;
    int64_t out;
    enum store_result result = STORE_OK;
    if (effect == EFFECT_FORFEITED) {
        result = ledger_balance(ledger, account_of(ACCOUNT_WITH_CUSTOMERS, 0, cup_type), &out);
        if (result == STORE_OK && quantity > out)
            refuse(recording, REASON_MORE_THAN_OUT, pointer, "customers do not hold that many");
    } else {
        result = ledger_flush(ledger);
        if (result == STORE_OK)
            result = store_forfeited(ledger->pg, ledger->scheme->id, cup_type, &out);
        if (result == STORE_OK && quantity > forfeited_or_zero(out))
            refuse(recording, REASON_MORE_THAN_FORFEITED, pointer, "not that many are forfeited");
    }
    return result;
}

static bool moves_forfeited(enum kind_effect effect)
{
    return effect == EFFECT_FORFEITED || effect == EFFECT_REINSTATED;
}

static enum store_result check_quantities(struct recording *recording)
{
    enum store_result result = STORE_OK;
    const struct referred *referred = &recording->referred;
    enum kind_effect effect = entry_kind_effect(recording->event->kind);
    bool reverses = entry_kind_refers(recording->event->kind) == REFERS_REVERSED;
    if (moves_forfeited(effect))
        for (size_t i = 0; i < recording->line_count && result == STORE_OK; i++)
            result = check_quantity(recording, effect, recording->lines[i].cup_type,
                                    recording->lines[i].n.count, "/cups");
    effect = entry_kind_effect(referred->kind);
    if (reverses && moves_forfeited(effect)) {
        enum kind_effect opposite = effect == EFFECT_FORFEITED ? EFFECT_REINSTATED : EFFECT_FORFEITED;
        for (size_t i = 0; i < referred->cup_count && result == STORE_OK; i++)
            result = check_quantity(recording, opposite, referred->cups[i].cup_type,
                                    referred->cups[i].quantity, "/reverses");
    }
    return result;
}

/* Cups of a batch have left for the re-maker. Before their retirement is reversed, the batch is withdrawn, or
 * the cups that did leave are retired. */
static enum store_result check_retired(struct recording *recording)
{
    bool in_batch = false;
    const struct ledger *ledger = recording->ledger;
    const struct referred *referred = &recording->referred;
    if (entry_kind_refers(recording->event->kind) != REFERS_REVERSED || referred->kind != KIND_RETIRE)
        return STORE_OK;
    enum store_result result =
        store_retired_in_batch(ledger->pg, ledger->scheme->id, referred->entry, &in_batch);
    if (result == STORE_OK && in_batch)
        refuse(recording, REASON_RETIRED_IN_BATCH, "/reverses",
               "batches have more cups than would be retired at the site; withdraw a batch first");
    return result;
}

static enum store_result find_facts(struct recording *recording)
{
    const struct submission *submission = recording->submission;
    struct posting_facts *facts = &recording->facts;
    enum store_result result = STORE_OK;
    if (recording->event->kind == KIND_COUNT)
        result = find_differences(recording);
    else if (recording->event->kind == KIND_REVERSAL)
        result = find_revalued(recording);
    if (result != STORE_OK)
        return result;
    facts->kind = recording->event->kind;
    facts->stock_terms = recording->ledger->scheme->stock_terms;
    facts->charge_shortages = recording->terms_then->charge_shortages;
    facts->bearer = recording->event->bearer;
    facts->tax_rate = recording->terms->tax_rate;
    facts->site = submission->site != NULL ? submission->site->id : 0;
    facts->sender = recording->transfer.sender;
    facts->receiver = recording->transfer.receiver;
    facts->home = recording->home;
    facts->host = *recording->event->host != '\0' ? recording->sent_in : 0;
    facts->lines = recording->lines;
    facts->line_count = recording->line_count;
    if (facts->kind == KIND_REVERSAL) {
        facts->reversed = recording->referred.legs;
        facts->reversed_count = recording->referred.leg_count;
    }
    facts->stated = recording->stated;
    facts->stated_count = recording->event->leg_count;
    facts->agreed = recording->agreed;
    facts->agreed_count = recording->agreed_count;
    return STORE_OK;
}

enum store_result record_check(struct recording *recording)
{
    const struct event *event = recording->event;
    enum store_result result = record_find_referred(recording);
    if (result == STORE_OK && !record_is_parked(recording))
        result = check_batch(recording);
    if (result != STORE_OK || record_is_parked(recording))
        return result;
    find_days(recording);
    record_check_referred(recording);
    if (event->kind == KIND_DISPATCH)
        result = record_find_destination(recording);
    if (result != STORE_OK || record_is_parked(recording))
        return result;
    if (recording->occurrence != NULL) {
        check_open(recording, recording->submission->site, "/site");
        check_open(recording, recording->to, "/to");
        check_end(recording);
    }
    result = event->kind == KIND_OPENING ? record_opening(recording) : find_lines(recording);
    if (result == STORE_OK && event->kind == KIND_JOURNAL)
        result = record_find_legs(recording);
    if (result == STORE_OK)
        result = record_find_agreed(recording);
    if (result != STORE_OK || recording->faults->count > 0)
        return result;
    find_till(recording);
    result = check_quantities(recording);
    if (result == STORE_OK)
        result = check_retired(recording);
    if (result == STORE_OK && recording->faults->count == 0)
        result = record_decide_bearer(recording);
    if (result != STORE_OK || recording->faults->count > 0)
        return result;
    return find_facts(recording);
}
