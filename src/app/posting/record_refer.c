/* SPDX-License-Identifier: ISC */
/* A receipt or a loss names a dispatch, and a reversal any event. Cups that a host sends home are received in
 * another scheme than the one that sent them, which may have another writer. So a row for what goes from the
 * one to the other is held: if a dispatch arrives while it is reversed, the second writer sees what the first
 * one did. A writer holds the heads of its batch, so it never waits for that row. If another transaction has
 * it, the event is parked. */
#include "app/posting/record_refer.h"

#include <assert.h>
#include <stdio.h>

enum { POINTER_MAX = 64 };

static void refuse(struct recording *recording, enum reason reason, const char *pointer, const char *detail)
{
    faults_add(recording->faults, reason, pointer, "%s", detail);
}

/* Whether the key is for some sites only. */
static bool is_bound(const struct recording *recording)
{
    return !identity_has_all(recording->submission->identity);
}

/* If a till names an event of a site that is not its own, the refusal says that there is no such event.
 * Otherwise refusals would tell the till which ids are taken, of which kind, and where. In a receipt it may
 * name any dispatch of its scheme, because the cups stand before it. */
static bool may_know_of_referred(const struct recording *recording)
{
    const struct referred *referred = &recording->referred;
    const struct network *network = recording->ledger->network;
    if (!is_bound(recording) || (recording->event->kind == KIND_RECEIPT && referred->dispatch != 0))
        return true;
    const struct site *site = referred->site < network->site_ids ? network->site_by_id[referred->site] : NULL;
    return site != NULL && identity_has_site(recording->submission->identity, site);
}

static bool names_host(const struct recording *recording)
{
    return *recording->event->host != '\0';
}

bool record_is_between(const struct recording *recording)
{
    return recording->transfer.home != 0;
}

/* The scheme that sent the cups, if the event says so. Nobody learns whether there is a scheme with which
 * nothing was agreed. 0: there is none. */
static int32_t find_host(const struct recording *recording)
{
    const struct ledger *ledger = recording->ledger;
    const struct scheme *host = network_scheme(ledger->network, recording->event->host);
    const struct date ever = {INT32_MAX};
    bool agreed =
        host != NULL && network_agreement(ledger->network, ledger->scheme->id, host->id, ever) != NULL;
    return agreed ? host->id : 0;
}

/* Reads the event that is referred to, and the cups of the dispatch that the two are about. */
static enum store_result read_referred(struct recording *recording, int32_t scheme)
{
    struct ledger *ledger = recording->ledger;
    struct referred *referred = &recording->referred;
    recording->transfer = (struct transfer){0};
    enum store_result result =
        store_referred(ledger->pg, ledger->arena, scheme, &recording->event->refers, referred);
    if (result == STORE_OK && referred->found && !may_know_of_referred(recording))
        *referred = (struct referred){.found = false};
    if (result != STORE_OK || !referred->found)
        return result;
    bool reverses = entry_kind_refers(recording->event->kind) == REFERS_REVERSED;
    recording->sent_in = scheme;
    recording->dispatch = referred->dispatch;
    if (reverses && entry_kind_refers(referred->kind) == REFERS_DISPATCH) {
        recording->dispatch = referred->refers;
        recording->sent_in = referred->host != 0 ? referred->host : scheme;
    }
    return recording->dispatch != 0 ? store_transfer(ledger->pg, ledger->arena, recording->sent_in,
                                                     recording->dispatch, &recording->transfer)
                                    : STORE_OK;
}

bool record_is_parked(const struct recording *recording)
{
    return recording->submission->result->parked;
}

/* Parks the event if somebody else holds what goes from the host home. */
static enum store_result hold_pair(struct recording *recording, int32_t host, int32_t home)
{
    bool held = true;
    struct ledger *ledger = recording->ledger;
    enum store_result result = ledger_begin(ledger);
    if (result == STORE_OK)
        result = store_pair_hold(ledger->pg, host, home, &held);
    recording->submission->result->parked = !held;
    return result;
}

/* Reads again, because another writer may have changed it until the pair was held. */
static enum store_result hold_and_read(struct recording *recording, int32_t scheme)
{
    enum store_result result = hold_pair(recording, recording->sent_in, recording->transfer.home);
    return result == STORE_OK && !record_is_parked(recording) ? read_referred(recording, scheme) : result;
}

/* Writes the waiting entries first, because the event that is referred to may be in the same batch. */
enum store_result record_find_referred(struct recording *recording)
{
    struct ledger *ledger = recording->ledger;
    int32_t scheme = names_host(recording) ? find_host(recording) : ledger->scheme->id;
    if (entry_kind_refers(recording->event->kind) == REFERS_NOTHING || scheme == 0)
        return STORE_OK;
    const atomic_bool *comes_from = recording->submission->comes_from;
    bool may_come = comes_from != NULL && !atomic_load(comes_from); /* asked before the event is looked for */
    enum store_result result = ledger_flush(ledger);
    if (result == STORE_OK)
        result = read_referred(recording, scheme);
    if (result == STORE_OK && may_come && !recording->referred.found)
        recording->submission->result->parked = true;
    if (result == STORE_OK && record_is_between(recording))
        result = hold_and_read(recording, scheme);
    if (result == STORE_OK && names_host(recording) && recording->transfer.home != ledger->scheme->id) {
        recording->referred = (struct referred){.found = false};
        recording->transfer = (struct transfer){0};
    }
    return result;
}

/* The home's accountant gives up cups that were sent to its site. */
static int32_t site_of_loss(const struct recording *recording)
{
    return record_is_between(recording) ? recording->transfer.receiver : recording->transfer.sender;
}

static void check_dispatch(struct recording *recording)
{
    const struct event *event = recording->event;
    if (names_host(recording) && find_host(recording) == 0)
        refuse(recording, REASON_NOT_AGREED, "/host", "nothing was ever agreed with such a scheme");
    else if (names_host(recording) && !recording->referred.found)
        refuse(recording, REASON_EVENT_UNKNOWN, "/dispatch",
               "the host has no dispatch with this id to a site of this scheme");
    else if (!recording->referred.found)
        refuse(recording, REASON_EVENT_UNKNOWN, "/dispatch", "the scheme has no event with this id");
    else if (recording->referred.dispatch == 0)
        refuse(recording, REASON_NOT_A_DISPATCH, "/dispatch", "the event with this id is not a dispatch");
    else if (record_is_between(recording) && !names_host(recording))
        refuse(recording, REASON_SITE_IN_OTHER_SCHEME, "/dispatch",
               "it went to a site of another scheme, which receives it and says `host`");
    else if (event->kind == KIND_TRANSIT_LOSS && recording->submission->site->id != site_of_loss(recording))
        refuse(recording, REASON_SITE_DIFFERS, "/site",
               record_is_between(recording) ? "the dispatch went to another site"
                                            : "the dispatch left from another site");
}

/* The calendar lacks only closed days. */
static enum day_state state_of_day(const struct recording *recording, struct date date)
{
    const struct calendar *calendar = recording->ledger->calendar;
    const struct business_day *day = calendar_day(calendar, date);
    assert(day != NULL || date.days < calendar->days[0].date.days);
    return day != NULL ? day->state : DAY_CLOSED;
}

static bool needs_accountant(const struct recording *recording)
{
    const struct submission *submission = recording->submission;
    const struct referred *referred = &recording->referred;
    if (is_bound(recording) && state_of_day(recording, referred->business_date) != DAY_OPEN)
        return true;
    return access_post(submission->identity, referred->kind, submission->site,
                       instant_date(submission->event->occurred_at)) != REASON_NONE;
}

/* Only as a whole, and while it is the only entry. */
static bool opening_is_reversible(const struct recording *recording)
{
    const struct referred *referred = &recording->referred;
    return referred->dispatch == 0 &&
           (referred->reversed || recording->ledger->state->head.last_entry == referred->entry);
}

static void check_reversal(struct recording *recording)
{
    const struct referred *referred = &recording->referred;
    if (!referred->found)
        refuse(recording, REASON_EVENT_UNKNOWN, "/reverses", "the scheme has no event with this id");
    else if (referred->site != (recording->submission->site != NULL ? recording->submission->site->id : 0))
        refuse(recording, REASON_SITE_DIFFERS, "/site", "the event to reverse is another site's");
    else if (entry_kind_undo(referred->kind) == UNDO_JOURNAL)
        refuse(recording, REASON_REVERSAL_OF_JOURNAL, "/reverses", "a journal is undone by another journal");
    else if (entry_kind_undo(referred->kind) == UNDO_WHILE_LAST && !opening_is_reversible(recording))
        refuse(recording, REASON_OPENING_STANDS, "/reverses",
               referred->dispatch != 0 ? "is a shipment of the opening, which is reversed as a whole"
                                       : "other entries follow the opening; counts and journals correct it");
    else if (entry_kind_undo(referred->kind) == UNDO_NEVER)
        refuse(recording, REASON_REVERSAL_OF_REVERSAL, "/reverses", "the event is itself a reversal");
    else if (referred->reversed)
        refuse(recording, REASON_ALREADY_REVERSED, "/reverses", "the event is reversed already");
    else if (referred->kind == KIND_DISPATCH && referred->arrived && record_is_between(recording))
        refuse(recording, REASON_DISPATCH_ARRIVED, "/reverses",
               "the home must first reverse its receipts and losses");
    else if (referred->kind == KIND_DISPATCH && referred->arrived)
        refuse(recording, REASON_DISPATCH_ARRIVED, "/reverses", "reverse its receipts and losses first");
    else if (needs_accountant(recording))
        refuse(recording, REASON_REVERSAL_NEEDS_ACCOUNTANT, "/reverses",
               "a till reverses its own events of an open day only");
}

void record_check_referred(struct recording *recording)
{
    switch (entry_kind_refers(recording->event->kind)) {
    case REFERS_DISPATCH:
        check_dispatch(recording);
        break;
    case REFERS_REVERSED:
        check_reversal(recording);
        break;
    case REFERS_NOTHING:
        break;
    }
}

/* Visiting cups may go home as soon as anything was agreed for them, also after the agreement's end. A till
 * may not know which other sites there are. */
static void find_destination(struct recording *recording)
{
    const struct ledger *ledger = recording->ledger;
    const struct site *to = network_site(ledger->network, recording->event->to);
    bool elsewhere = to != NULL && to->scheme != ledger->scheme->id;
    bool agreed = elsewhere && recording->occurrence != NULL &&
                  network_agreement(ledger->network, to->scheme, ledger->scheme->id,
                                    recording->occurrence->date) != NULL;
    recording->to = to;
    if (agreed)
        recording->home = to->scheme;
    else if (to == NULL || (elsewhere && is_bound(recording)))
        refuse(recording, REASON_SITE_UNKNOWN, "/to", "there is no such site");
    else if (elsewhere && recording->occurrence != NULL)
        refuse(recording, REASON_SITE_IN_OTHER_SCHEME, "/to",
               "the site belongs to another scheme, with which nothing was agreed for cups that visit");
}

/* Refuses cups that their home could neither receive nor give up: it had not begun, or has no value for them
 * on the day to which it would post them by now. Later it has one, because values do not end. */
static enum store_result check_destination(struct recording *recording)
{
    char pointer[POINTER_MAX];
    struct date day;
    bool begun;
    struct money value;
    const struct event *event = recording->event;
    const struct network *network = recording->ledger->network;
    const struct scheme *home = network->scheme_by_id[recording->home];
    enum store_result result =
        store_posting_day(recording->ledger->pg, home->id, event->occurred_at, &day, &begun);
    if (result == STORE_OK && !begun)
        refuse(recording, REASON_BEFORE_FIRST_DAY, "/to",
               "before the first business day of the scheme whose deposit the cups carry");
    for (size_t i = 0; i < event->cups.count && result == STORE_OK && begun; i++) {
        const struct cup_type *type = network_cup_type(network, event->cups.lines[i].cup_type);
        snprintf(pointer, sizeof pointer, "/cups/%zu/cup_type", i);
        if (type != NULL && !scheme_value(home, type->id, day, &value))
            refuse(recording, REASON_NO_REFUND_VALUE, pointer,
                   "the cup type has no refund value in that scheme on the day to which it would post");
    }
    return result;
}

/* A dispatch holds the pair as well. So one writer at a time moves the cups that go from the host home, and
 * the requests of such shipments. */
enum store_result record_find_destination(struct recording *recording)
{
    find_destination(recording);
    enum store_result result = recording->home != 0 ? check_destination(recording) : STORE_OK;
    return result == STORE_OK && recording->home != 0 && recording->faults->count == 0
               ? hold_pair(recording, recording->ledger->scheme->id, recording->home)
               : result;
}
