/* SPDX-License-Identifier: ISC */
/* A replay gets the same answer as the first time. A new event is checked and then becomes an entry. */
#include "app/posting/record.h"

#include "app/posting/record_bearer.h"
#include "app/posting/record_check.h"
#include "app/posting/record_home.h"
#include "app/posting/record_post.h"

#include <string.h>

static enum store_result give_exceptions(const struct scheme_ledger *scheme_ledger,
                                         struct submission *submission, const struct exception *exceptions,
                                         size_t count)
{
    return submission_give_exceptions(scheme_ledger->ledger.network, submission, exceptions, count)
               ? STORE_OK
               : STORE_FAILED;
}

/* Whether the event has the content of the known one. */
static enum store_result compare(const struct scheme_ledger *scheme_ledger, const struct event *event,
                                 const struct known_event *known, bool *same)
{
    *same = memcmp(known->digest, event->digest.bytes, sizeof known->digest) == 0;
    return *same ? STORE_OK : record_bearer_decided(event, scheme_ledger->ledger.arena, known->digest, same);
}

static enum store_result answer_known(struct scheme_ledger *scheme_ledger, struct submission *submission,
                                      const struct remembered_event *known)
{
    struct event_result *result = submission->result;
    struct exception *exceptions = NULL;
    size_t count = 0;
    bool same;
    enum store_result compared = compare(scheme_ledger, submission->event, &known->known, &same);
    if (compared != STORE_OK)
        return compared;
    if (!same) {
        submission_reject(submission, REASON_EVENT_ID_CONFLICT, "/event_id",
                          "the id belongs to an event with other content");
        return STORE_OK;
    }
    if (known->known.standing == STANDING_WITHDRAWN) {
        submission_reject(submission, REASON_PROPOSAL_DECIDED, "/event_id",
                          "the event was withdrawn; propose it under a new id");
        return STORE_OK;
    }
    if (known->known.standing == STANDING_PROPOSED) {
        result->status = EVENT_PROPOSED;
        return store_proposed_sheet(scheme_ledger->ledger.pg, submission->arena,
                                    scheme_ledger->ledger.scheme->id, &submission->event->id,
                                    &result->balance_sheet);
    }
    result->status = EVENT_DUPLICATE;
    result->entry = known->known.entry;
    result->business_date = known->known.business_date;
    result->late = known->known.late;
    if (!known->known.has_exceptions)
        return give_exceptions(scheme_ledger, submission, known->exceptions, known->exception_count);
    enum store_result found =
        store_exceptions_of(scheme_ledger->ledger.pg, scheme_ledger->ledger.arena,
                            scheme_ledger->ledger.scheme->id, known->known.entry, &exceptions, &count);
    return found == STORE_OK ? give_exceptions(scheme_ledger, submission, exceptions, count) : found;
}

/* Two people post it: it is proposed first. */
static bool takes_two(const struct recording *recording)
{
    enum entry_kind kind = recording->event->kind;
    return kind == KIND_JOURNAL || kind == KIND_OPENING ||
           (kind == KIND_REVERSAL && recording->referred.kind == KIND_OPENING);
}

enum store_result record_event(struct scheme_ledger *scheme_ledger, struct submission *submission)
{
    enum store_result named = record_drop_own_home(scheme_ledger, submission);
    if (named != STORE_OK)
        return named;
    const struct remembered_event *known = scheme_ledger_find(scheme_ledger, &submission->event->id);
    if (known != NULL)
        return answer_known(scheme_ledger, submission, known);
    if (scheme_ledger->opening_pending) {
        submission_reject(submission, REASON_OPENING_PENDING, "",
                          "a second person must first approve or withdraw the opening of the scheme");
        return STORE_OK;
    }
    struct recording recording = {
        .scheme_ledger = scheme_ledger,
        .ledger = &scheme_ledger->ledger,
        .submission = submission,
        .event = submission->event,
        .faults = &submission->result->faults,
    };
    enum store_result result = record_check(&recording);
    if (result == STORE_OK && recording.faults->count == 0 && !submission->result->parked)
        result = takes_two(&recording) ? record_propose(&recording) : record_post(&recording);
    if (result == STORE_OK && recording.faults->count > 0)
        submission->result->status = EVENT_REJECTED;
    return result;
}
