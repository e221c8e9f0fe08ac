/* SPDX-License-Identifier: ISC */
/* Deciding on proposed events. */
#include "app/office/proposed_events.h"

#include "app/office/opening.h"
#include "app/posting/canonical.h"
#include "app/posting/record_legs.h"
#include "store/bank_store.h"

enum { EVENT_BYTES_MAX = 16 << 20 };

/* *open: the proposal waits for a decision. False without a fault: this key has decided the same before. */
static enum store_result find_open(struct head_work *work, const struct proposed_name *name,
                                   enum proposal_status wanted, struct proposal *proposal, bool *open,
                                   struct faults *faults)
{
    bool found;
    enum store_result result = store_proposal(work->pg, &work->arena, name, proposal, &found);
    *open = false;
    if (result != STORE_OK)
        return result;
    if (!found)
        faults_refuse(faults, REASON_NOT_FOUND);
    else if (proposal->status == PROPOSAL_OPEN)
        *open = true;
    else if (proposal->status != wanted || proposal->decided_by != work->key)
        faults_refuse(faults, REASON_PROPOSAL_DECIDED);
    return STORE_OK;
}

/* Marks the calendar as changed, because the writer keeps open proposals under the same mark. */
static enum store_result decide(struct head_work *work, const struct uuid *id, enum proposal_status status,
                                const char *note, int64_t entry)
{
    struct proposal_decision decision = {
        .status = status,
        .decided_at = work->now,
        .key = work->key,
        .note = note,
        .entry = entry,
    };
    enum store_result result = store_proposal_decide(work->pg, work->scheme->id, id, &decision);
    return result == STORE_OK ? store_calendar_changed(work->pg, work->scheme->id) : result;
}

/* Writes the event as it is recorded: with `approved_by`. */
static enum store_result record_approval(struct head_work *work, const struct proposal *proposal,
                                         struct event *event)
{
    struct buffer text;
    buffer_init(&text, EVENT_BYTES_MAX);
    canonical_approved(proposal->event, snapshot_key(work->snapshot, work->key)->name, &text);
    event->text = text.failed ? NULL : arena_copy(&work->arena, text.data, text.length);
    event->text_length = text.length;
    buffer_dispose(&text);
    if (event->text == NULL)
        return STORE_FAILED;
    sha256_of(event->text, event->text_length, &event->digest);
    return STORE_OK;
}

/* The money that a journal takes from the bank for the operator. In a scheme that reads no statements there
 * are no lines of the bank to say that. */
static struct money taken_out(const struct proposal *proposal)
{
    int64_t to_operator = 0, from_bank = 0;
    for (size_t i = 0; i < proposal->leg_count; i++) { /* a hundred bounded amounts: no overflow */
        enum account_kind kind = account_kind_of(proposal->legs[i].account);
        to_operator += kind == ACCOUNT_OPERATOR_ACCOUNT ? proposal->legs[i].amount : 0;
        from_bank -= kind == ACCOUNT_BANK ? proposal->legs[i].amount : 0;
    }
    int64_t taken = to_operator < from_bank ? to_operator : from_bank;
    return (struct money){taken > 0 ? taken : 0};
}

/* To be called before the journal is in the ledger. */
static enum store_result find_beyond(struct head_work *work, const struct proposal *proposal,
                                     struct money *beyond)
{
    struct money free_before, taken = taken_out(proposal);
    *beyond = (struct money){0};
    if (proposal->kind != KIND_JOURNAL || taken.minor == 0)
        return STORE_OK;
    enum store_result result =
        store_withdrawable(work->pg, work->scheme->id, work->today->date, &free_before);
    *beyond = exception_taken_beyond(taken, free_before);
    return result;
}

static enum store_result add_exceptions(struct head_work *work, bool late, struct money beyond)
{
    enum store_result result = STORE_OK;
    if (late)
        result = ledger_add_exception(&work->ledger, 0, (struct exception){.kind = EXCEPTION_LATE});
    if (result == STORE_OK && beyond.minor > 0)
        result = ledger_add_exception(
            &work->ledger, late ? 1 : 0,
            (struct exception){.kind = EXCEPTION_TAKEN_OUT_BEYOND, .has_amount = true, .amount = beyond});
    return result;
}

/* Appends the event's legs as they were proposed. */
static enum store_result append(struct head_work *work, const struct proposal *proposal,
                                const struct event *event, const struct business_day *occurrence,
                                int64_t *entry)
{
    const struct business_day *posting = calendar_posting_day(&work->calendar, occurrence);
    struct draft draft = {
        .kind = proposal->kind,
        .business_date = posting->date,
        .late = posting != occurrence,
        .key = proposal->proposed_by,
        .occurred_at = proposal->occurred_at,
        .event = event,
        .legs = proposal->legs,
        .leg_count = proposal->leg_count,
    };
    struct money beyond;
    enum store_result result = find_beyond(work, proposal, &beyond);
    if (result == STORE_OK)
        result = ledger_append(&work->ledger, &draft, entry);
    return result == STORE_OK ? add_exceptions(work, draft.late, beyond) : result;
}

/* A statement may have come since the journal was proposed. */
static enum store_result check_bank(struct head_work *work, const struct proposal *proposal,
                                    struct faults *faults)
{
    bool moves_bank = false, reads;
    for (size_t i = 0; i < proposal->leg_count; i++)
        moves_bank = moves_bank || account_kind_of(proposal->legs[i].account) == ACCOUNT_BANK;
    if (!moves_bank)
        return STORE_OK;
    enum store_result result = store_reads_statements(work->pg, work->scheme->id, &reads);
    if (result == STORE_OK && reads)
        faults_refuse(faults, REASON_BANK_BY_STATEMENT);
    return result;
}

/* Its month may have closed as well. */
static enum store_result check_journal(struct head_work *work, const struct proposal *proposal,
                                       const struct business_day *occurrence, struct faults *faults)
{
    enum store_result result = record_check_month(work->pg, work->scheme->id, occurrence->date, faults);
    return result == STORE_OK ? check_bank(work, proposal, faults) : result;
}

static enum store_result post(struct head_work *work, const struct proposal *proposal,
                              const struct event *event, int64_t *entry, struct faults *faults)
{
    const struct business_day *occurrence = calendar_day_of(&work->calendar, proposal->occurred_at);
    if (occurrence == NULL)
        return STORE_FAILED; /* it was in the calendar when it was proposed */
    enum store_result result = proposal->kind == KIND_JOURNAL
                                   ? check_journal(work, proposal, occurrence, faults)
                                   : opening_check(work, proposal, occurrence, faults);
    if (result != STORE_OK || faults->count > 0)
        return result;
    result = append(work, proposal, event, occurrence, entry);
    return result == STORE_OK && proposal->kind != KIND_JOURNAL ? opening_effects(work, proposal, *entry)
                                                                : result;
}

enum store_result proposed_approve(struct head_work *work, const struct proposed_name *name,
                                   struct faults *faults)
{
    struct proposal proposal;
    struct event *event = arena_alloc(&work->arena, sizeof *event);
    int64_t entry;
    bool open;
    if (event == NULL)
        return STORE_FAILED;
    enum store_result result = find_open(work, name, PROPOSAL_APPROVED, &proposal, &open, faults);
    if (result != STORE_OK || !open)
        return result;
    if (key_acts_by_one_person(&work->snapshot->keys.origins,
                               (struct key_act){proposal.proposed_by, proposal.proposed_at},
                               (struct key_act){work->key, work->now})) {
        faults_refuse(faults, REASON_SECOND_KEY_NEEDED);
        return STORE_OK;
    }
    *event = (struct event){.id = name->id, .kind = proposal.kind};
    result = record_approval(work, &proposal, event);
    if (result == STORE_OK)
        result = post(work, &proposal, event, &entry, faults);
    return result == STORE_OK && faults->count == 0 ? decide(work, &name->id, PROPOSAL_APPROVED, NULL, entry)
                                                    : result;
}

enum store_result proposed_withdraw(struct head_work *work, const struct proposed_name *name,
                                    const char *note, struct faults *faults)
{
    struct proposal proposal;
    bool open;
    enum store_result result = find_open(work, name, PROPOSAL_WITHDRAWN, &proposal, &open, faults);
    return result == STORE_OK && open ? decide(work, &name->id, PROPOSAL_WITHDRAWN, note, 0) : result;
}
