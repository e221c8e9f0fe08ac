/* SPDX-License-Identifier: ISC */
/* The entry: its legs, its exceptions, and its effects on transfers and on the count of forfeited cups. */
#include "app/posting/record_post.h"

#include "app/posting/post_facts.h"

#include <stdlib.h>
#include <string.h>

static enum store_result derive_legs(struct recording *recording)
{
    enum store_result result = post_derive(recording->ledger, &recording->facts, &recording->legs);
    if (result != STORE_OUT_OF_RANGE)
        return result;
    faults_add(recording->faults, REASON_OUT_OF_RANGE, "", "an amount is too large");
    return STORE_OK;
}

/* For the reversal of a receipt or a loss: takes its cups back out of the dispatch's state. */
static void take_back_arrival(struct recording *recording)
{
    const struct referred *referred = &recording->referred;
    enum kind_effect effect = entry_kind_effect(referred->kind);
    for (size_t t = 0; t < recording->transfer.line_count; t++) {
        struct transfer_open *line = &recording->transfer.lines[t];
        for (size_t i = 0; i < referred->cup_count; i++) {
            if (referred->cups[i].cup_type != line->cup_type || referred->cups[i].damaged != line->damaged)
                continue;
            line->received -= effect == EFFECT_RECEIVED ? referred->cups[i].quantity : 0;
            line->lost -= effect == EFFECT_LOST ? referred->cups[i].quantity : 0;
        }
    }
}

static enum store_result find_exceptions(struct recording *recording, struct exception **found, size_t *count)
{
    struct exception_facts *facts = &recording->exception_facts;
    const struct submission *submission = recording->submission;
    int64_t *after;
    enum store_result result = post_balances_after(recording->ledger, &recording->legs, &after);
    if (result != STORE_OK)
        return result;
    facts->posting = &recording->facts;
    facts->legs = recording->legs.legs;
    facts->leg_count = recording->legs.count;
    facts->balances_after = after;
    facts->late = recording->posting != recording->occurrence;
    facts->site_closed =
        submission->site != NULL && recording->occurrence->date.days > submission->site->closed_on.days;
    facts->count_tolerance = recording->ledger->scheme->count_tolerance;
    facts->received_elsewhere =
        submission->site != NULL && submission->site->id != recording->transfer.receiver;
    if (recording->event->kind == KIND_REVERSAL)
        take_back_arrival(recording);
    facts->transfer = recording->transfer.lines;
    facts->transfer_count = recording->transfer.line_count;
    *found = arena_array(recording->ledger->arena,
                         exceptions_max(recording->line_count, recording->legs.count, facts->transfer_count),
                         sizeof **found);
    if (*found == NULL)
        return STORE_FAILED;
    *count = exceptions_find(facts, *found);
    return STORE_OK;
}

static enum store_result add_transfer(struct recording *recording, enum kind_effect effect, int64_t dispatch,
                                      int32_t cup_type, bool damaged, int64_t quantity)
{
    bool fresh = entry_kind_effect(recording->event->kind) == EFFECT_SENT;
    return ledger_add_transfer(
        recording->ledger,
        &(struct transfer_row){
            .scheme = fresh ? recording->ledger->scheme->id : recording->sent_in,
            .dispatch = dispatch,
            .cup_type = cup_type,
            .damaged = damaged,
            .business_date = fresh ? recording->posting->date : recording->transfer.business_date,
            .sender = fresh ? recording->submission->site->id : recording->transfer.sender,
            .receiver = fresh ? recording->to->id : recording->transfer.receiver,
            .home = fresh ? recording->home : recording->transfer.home,
            .sent = effect == EFFECT_SENT ? quantity : 0,
            .received = effect == EFFECT_RECEIVED ? quantity : 0,
            .lost = effect == EFFECT_LOST ? quantity : 0,
        });
}

/* Adds the effect of one line of the entry to a dispatch's state or to the count of forfeited cups. */
static enum store_result add_effect(struct recording *recording, enum kind_effect effect, int64_t dispatch,
                                    int32_t cup_type, bool damaged, int64_t quantity)
{
    switch (effect) {
    case EFFECT_SENT:
    case EFFECT_RECEIVED:
    case EFFECT_LOST:
        return add_transfer(recording, effect, dispatch, cup_type, damaged, quantity);
    case EFFECT_FORFEITED:
        return ledger_add_forfeited(recording->ledger, cup_type, quantity);
    case EFFECT_REINSTATED:
        return ledger_add_forfeited(recording->ledger, cup_type, -quantity);
    case EFFECT_NOTHING:
        return STORE_OK;
    }
    abort();
}

static enum store_result add_reference(struct recording *recording)
{
    const struct referred *referred = &recording->referred;
    if (recording->event->kind == KIND_REVERSAL)
        return ledger_add_reference(recording->ledger, referred->entry);
    if (recording->facts.host != 0)
        return ledger_add_host_dispatch(recording->ledger, recording->facts.host, referred->dispatch);
    return ledger_add_reference(recording->ledger, referred->dispatch);
}

static enum store_result add_effects(struct recording *recording, int64_t entry)
{
    const struct referred *referred = &recording->referred;
    enum entry_kind kind = recording->event->kind;
    enum store_result result = STORE_OK;
    if (recording->event->names_shipment)
        result = ledger_add_shipment(recording->ledger, &recording->event->shipment);
    if (result == STORE_OK && referred->found)
        result = add_reference(recording);
    if (kind == KIND_REVERSAL) {
        int64_t dispatch = referred->kind == KIND_DISPATCH ? referred->entry : referred->refers;
        for (size_t i = 0; i < referred->cup_count && result == STORE_OK; i++)
            result =
                add_effect(recording, entry_kind_effect(referred->kind), dispatch, referred->cups[i].cup_type,
                           referred->cups[i].damaged, -referred->cups[i].quantity);
        return result;
    }
    for (size_t i = 0; i < recording->line_count && result == STORE_OK; i++)
        result = add_effect(recording, entry_kind_effect(kind), referred->found ? referred->dispatch : entry,
                            recording->lines[i].cup_type, recording->lines[i].damaged,
                            recording->lines[i].n.count);
    return result;
}

static enum store_result append(struct recording *recording, int64_t *entry)
{
    const struct submission *submission = recording->submission;
    return ledger_append(recording->ledger,
                         &(struct draft){
                             .kind = recording->event->kind,
                             .business_date = recording->posting->date,
                             .late = recording->posting != recording->occurrence,
                             .site = submission->site != NULL ? submission->site->id : 0,
                             .key = submission->identity->key,
                             .occurred_at = recording->event->occurred_at,
                             .event = recording->event,
                             .legs = recording->legs.legs,
                             .leg_count = recording->legs.count,
                             .mirrored_kind = recording->referred.kind,
                             .mirrored_date = recording->referred.business_date,
                             .mirrored_count = recording->facts.reversed_count,
                             .agreed = recording->agreed,
                             .agreed_count = recording->agreed_count,
                         },
                         entry);
}

static enum store_result post(struct recording *recording)
{
    struct exception *exceptions;
    size_t exception_count;
    int64_t entry;
    struct event_result *answer = recording->submission->result;
    enum store_result result = find_exceptions(recording, &exceptions, &exception_count);
    if (result == STORE_OK)
        result = append(recording, &entry);
    for (size_t i = 0; i < exception_count && result == STORE_OK; i++)
        result = ledger_add_exception(recording->ledger, (int32_t)i, exceptions[i]);
    if (result == STORE_OK)
        result = add_effects(recording, entry);
    if (result == STORE_OK && !submission_give_exceptions(recording->ledger->network, recording->submission,
                                                          exceptions, exception_count))
        result = STORE_FAILED;
    if (result != STORE_OK)
        return result;
    answer->status = EVENT_RECORDED;
    answer->entry = entry;
    answer->business_date = recording->posting->date;
    answer->late = recording->posting != recording->occurrence;
    struct remembered_event known = {
        .known = {.id = recording->event->id,
                  .entry = entry,
                  .business_date = answer->business_date,
                  .late = answer->late},
        .exceptions = exceptions,
        .exception_count = exception_count,
    };
    memcpy(known.known.digest, recording->event->digest.bytes, sizeof known.known.digest);
    return scheme_ledger_remember(recording->scheme_ledger, &known);
}

enum store_result record_post(struct recording *recording)
{
    enum store_result result = derive_legs(recording);
    return result == STORE_OK && recording->faults->count == 0 ? post(recording) : result;
}

/* An opening, or its reversal, is answered with the balance sheet that it states. */
static enum store_result give_sheet(struct recording *recording)
{
    const struct ledger *ledger = recording->ledger;
    return recording->event->kind == KIND_JOURNAL
               ? STORE_OK
               : store_balance_sheet(ledger->pg, recording->submission->arena, ledger->scheme->id,
                                     recording->legs.legs, recording->legs.count,
                                     &recording->submission->result->balance_sheet);
}

static enum store_result propose(struct recording *recording)
{
    struct scheme_ledger *scheme_ledger = recording->scheme_ledger;
    struct remembered_event known = {.known = {.id = recording->event->id,
                                               .standing = STANDING_PROPOSED,
                                               .is_opening = recording->event->kind == KIND_OPENING}};
    enum store_result result =
        scheme_ledger_propose(scheme_ledger, &(struct proposal_row){
                                                 .event = recording->event,
                                                 .legs = recording->legs.legs,
                                                 .leg_count = recording->legs.count,
                                                 .key = recording->submission->identity->key,
                                             });
    if (result == STORE_OK)
        result = give_sheet(recording);
    if (result != STORE_OK)
        return result;
    recording->submission->result->status = EVENT_PROPOSED;
    memcpy(known.known.digest, recording->event->digest.bytes, sizeof known.known.digest);
    return scheme_ledger_remember(scheme_ledger, &known);
}

enum store_result record_propose(struct recording *recording)
{
    enum store_result result = derive_legs(recording);
    return result == STORE_OK && recording->faults->count == 0 ? propose(recording) : result;
}
