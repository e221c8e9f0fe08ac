/* SPDX-License-Identifier: ISC */
/* The way of one event: who may post it, whether it is known already, and then the two halves, checks and
 * entry. */
#include "app/posting/record.h"

#include "app/posting/recording.h"

#include <string.h>

static void reject(struct submission *submission, enum reason reason, const char *pointer, const char *detail)
{
    submission->result->status = EVENT_REJECTED;
    faults_add(&submission->result->faults, reason, pointer, "%s", detail);
}

bool record_admit(const struct network *network, struct submission *submission)
{
    const struct event *event = submission->event;
    bool at_site = *event->site != '\0';
    submission->site = at_site ? network_site(network, event->site) : NULL;
    enum reason access = access_post(submission->identity, event->kind, submission->site);
    if (access != REASON_NONE) {
        bool about_site = access == REASON_SITE_NOT_ALLOWED || access == REASON_RETIRE_NEEDS_HUB;
        reject(submission, access, about_site ? "/site" : "/kind",
               about_site ? "the key may not post this at the site"
                          : "the key's role may not post this kind of event");
        return false;
    }
    if (at_site && submission->site == NULL) {
        reject(submission, REASON_SITE_UNKNOWN, "/site", "there is no such site");
        return false;
    }
    submission->scheme =
        at_site ? network->scheme_by_id[submission->site->scheme] : network_scheme(network, event->scheme);
    if (submission->scheme == NULL)
        reject(submission, REASON_SCHEME_UNKNOWN, "/scheme", "there is no such scheme");
    return submission->scheme != NULL;
}

static struct pair event_key(const struct uuid *id)
{
    struct pair key;
    memcpy(&key, id->bytes, sizeof key);
    return key;
}

enum store_result scheme_ledger_remember(struct scheme_ledger *scheme_ledger,
                                         const struct remembered_event *event)
{
    uint32_t position;
    bool added;
    if (!pairs_put(&scheme_ledger->event_keys, event_key(&event->known.id), &position, &added) ||
        !arena_grow(scheme_ledger->ledger.arena, &scheme_ledger->events, position,
                    &scheme_ledger->event_capacity, sizeof *scheme_ledger->events))
        return STORE_FAILED;
    scheme_ledger->events[position] = *event;
    return STORE_OK;
}

void scheme_ledger_open(struct scheme_ledger *scheme_ledger)
{
    pairs_init(&scheme_ledger->event_keys, scheme_ledger->ledger.arena);
}

enum store_result scheme_ledger_know(struct scheme_ledger *scheme_ledger, const struct known_event *known,
                                     size_t count)
{
    enum store_result result = STORE_OK;
    for (size_t i = 0; i < count && result == STORE_OK; i++)
        result = scheme_ledger_remember(scheme_ledger, &(struct remembered_event){.known = known[i]});
    return result;
}

static const struct remembered_event *find_known(const struct scheme_ledger *scheme_ledger,
                                                 const struct uuid *id)
{
    uint32_t position;
    return pairs_find(&scheme_ledger->event_keys, event_key(id), &position) ? &scheme_ledger->events[position]
                                                                            : NULL;
}

enum store_result recording_give_exceptions(const struct ledger *ledger, struct submission *submission,
                                            const struct exception *exceptions, size_t count)
{
    struct exception *copied = arena_array(submission->arena, count + 1, sizeof *copied);
    const char **codes = arena_array(submission->arena, count + 1, sizeof *codes);
    if (copied == NULL || codes == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < count; i++) {
        copied[i] = exceptions[i];
        if (exceptions[i].cup_type == 0)
            continue;
        const char *code = ledger->network->cup_type_by_id[exceptions[i].cup_type]->code;
        codes[i] = arena_copy(submission->arena, code, strlen(code));
        if (codes[i] == NULL)
            return STORE_FAILED;
    }
    submission->result->exceptions = copied;
    submission->result->exception_cup_types = codes;
    submission->result->exception_count = count;
    submission->result->decimals = ledger->scheme->currency->decimals;
    return STORE_OK;
}

static enum store_result answer_known(struct scheme_ledger *scheme_ledger, struct submission *submission,
                                      const struct remembered_event *known)
{
    struct event_result *result = submission->result;
    struct exception *exceptions = NULL;
    size_t count = 0;
    if (memcmp(known->known.digest, submission->event->digest.bytes, sizeof known->known.digest) != 0) {
        reject(submission, REASON_EVENT_ID_CONFLICT, "/event_id",
               "the id belongs to an event with other content");
        return STORE_OK;
    }
    if (known->known.standing == STANDING_WITHDRAWN) {
        reject(submission, REASON_PROPOSAL_DECIDED, "/event_id",
               "the journal was withdrawn; propose it under a new id");
        return STORE_OK;
    }
    if (known->known.standing == STANDING_PROPOSED) {
        result->status = EVENT_PROPOSED;
        return STORE_OK;
    }
    result->status = EVENT_DUPLICATE;
    result->entry = known->known.entry;
    result->business_date = known->known.business_date;
    result->late = known->known.late;
    if (!known->known.has_exceptions)
        return recording_give_exceptions(&scheme_ledger->ledger, submission, known->exceptions,
                                         known->exception_count);
    enum store_result found =
        store_exceptions_of(scheme_ledger->ledger.pg, scheme_ledger->ledger.arena,
                            scheme_ledger->ledger.scheme->id, known->known.entry, &exceptions, &count);
    return found == STORE_OK
               ? recording_give_exceptions(&scheme_ledger->ledger, submission, exceptions, count)
               : found;
}

static void add_line_accounts(const struct network *network, const struct site *site,
                              const struct cup_lines *lines, int64_t *accounts, size_t *count)
{
    for (size_t i = 0; i < lines->count; i++) {
        const struct cup_type *type = network_cup_type(network, lines->lines[i].cup_type);
        if (type == NULL)
            continue;
        accounts[(*count)++] = account_of(ACCOUNT_WITH_CUSTOMERS, 0, type->id).code;
        if (site == NULL)
            continue;
        accounts[(*count)++] = account_of(ACCOUNT_SITE_STOCK, site->id, type->id).code;
        accounts[(*count)++] = account_of(ACCOUNT_DAMAGED, site->id, type->id).code;
    }
}

enum store_result scheme_ledger_prefetch(struct scheme_ledger *scheme_ledger,
                                         const struct submission *submissions, size_t count)
{
    struct ledger *ledger = &scheme_ledger->ledger;
    struct pairs wanted;
    size_t lines = 0, account_count = 0, distinct = 0;
    for (size_t i = 0; i < count; i++)
        lines += submissions[i].event->issued.count + submissions[i].event->returned.count +
                 submissions[i].event->cups.count;
    int64_t *accounts = arena_array(ledger->arena, 3 * lines + 1, sizeof *accounts);
    if (accounts == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < count; i++) {
        const struct event *event = submissions[i].event;
        add_line_accounts(ledger->network, submissions[i].site, &event->issued, accounts, &account_count);
        add_line_accounts(ledger->network, submissions[i].site, &event->returned, accounts, &account_count);
        add_line_accounts(ledger->network, submissions[i].site, &event->cups, accounts, &account_count);
    }
    pairs_init(&wanted, ledger->arena);
    for (size_t i = 0; i < account_count; i++) {
        uint32_t position;
        bool added;
        if (!pairs_put(&wanted, (struct pair){accounts[i], 0}, &position, &added))
            return STORE_FAILED;
        if (added)
            accounts[distinct++] = accounts[i];
    }
    return ledger_prefetch(ledger, accounts, distinct);
}

enum store_result record_event(struct scheme_ledger *scheme_ledger, struct submission *submission)
{
    const struct remembered_event *known = find_known(scheme_ledger, &submission->event->id);
    if (known != NULL)
        return answer_known(scheme_ledger, submission, known);
    struct recording recording = {
        .scheme_ledger = scheme_ledger,
        .ledger = &scheme_ledger->ledger,
        .submission = submission,
        .event = submission->event,
        .faults = &submission->result->faults,
    };
    enum store_result result = recording_check(&recording);
    if (result == STORE_OK && recording.faults->count == 0)
        result = submission->event->kind == KIND_JOURNAL ? recording_propose(&recording)
                                                         : recording_post(&recording);
    if (result == STORE_OK && recording.faults->count > 0)
        submission->result->status = EVENT_REJECTED;
    return result;
}

/* Whoever keeps a copy of the scheme's calendar keeps one of its proposals, too: the mark of the one is that
 * of both. */
enum store_result scheme_ledger_flush(struct scheme_ledger *scheme_ledger)
{
    struct ledger *ledger = &scheme_ledger->ledger;
    enum store_result result = STORE_OK;
    for (size_t i = 0; i < scheme_ledger->proposal_count && result == STORE_OK; i++)
        result = store_proposal_add(ledger->pg, ledger->arena, ledger->scheme->id, ledger->now,
                                    &scheme_ledger->proposals[i]);
    if (result == STORE_OK && scheme_ledger->proposal_count > 0)
        result = store_calendar_changed(ledger->pg, ledger->scheme->id);
    return result == STORE_OK ? ledger_flush(ledger) : result;
}
