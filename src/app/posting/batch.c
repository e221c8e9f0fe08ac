/* SPDX-License-Identifier: ISC */
/* The transaction of a batch, in one of three ways. Either it begins by taking the head rows, and looks up
 * there which events are known: two round trips. Or it begins like that, but takes it that all events are
 * new. Or it takes it that nothing has happened since this writer's last batch, too, and begins with the
 * first write, by taking the heads as it expects them: one round trip. There the database refuses heads that
 * have moved and ids that are taken. Then, and where an event would be refused or a journal proposed though
 * nobody has looked, nothing is recorded, and the batch is posted again in the first way. */
#include "app/posting/batch.h"

#include "app/posting/record.h"

#include <stdlib.h>

static int compare_schemes(const void *a, const void *b)
{
    int32_t left = ((const struct head_request *)a)->scheme, right = ((const struct head_request *)b)->scheme;
    return (left > right) - (left < right);
}

/* NULL: the batch has no events of the scheme. */
static struct head_request *head_request_of(const struct batch *batch, int32_t scheme)
{
    for (size_t i = 0; i < batch->scheme_count; i++)
        if (batch->head_requests[i].scheme == scheme)
            return &batch->head_requests[i];
    return NULL;
}

static struct scheme_ledger *scheme_ledger_of(const struct batch *batch, int32_t scheme)
{
    return &batch->ledgers[head_request_of(batch, scheme) - batch->head_requests];
}

/* One request for each scheme that the batch has events of, ascending by scheme. */
static enum store_result make_head_requests(struct batch *batch)
{
    size_t most = batch->snapshot->network.scheme_count;
    batch->head_requests = arena_array(batch->arena, most, sizeof *batch->head_requests);
    batch->ledgers = arena_array(batch->arena, most, sizeof *batch->ledgers);
    if (batch->head_requests == NULL || batch->ledgers == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < batch->count; i++) {
        int32_t scheme = batch->submissions[i].scheme->id;
        struct head_request *request = head_request_of(batch, scheme);
        if (request == NULL)
            request = &batch->head_requests[batch->scheme_count++], request->scheme = scheme;
        request->id_count++;
    }
    qsort(batch->head_requests, batch->scheme_count, sizeof *batch->head_requests, compare_schemes);
    return STORE_OK;
}

/* The ids of each scheme's events. */
static enum store_result list_ids(struct batch *batch)
{
    for (size_t i = 0; i < batch->scheme_count; i++) {
        struct head_request *request = &batch->head_requests[i];
        struct uuid *ids = arena_array(batch->arena, request->id_count, sizeof *ids);
        if (ids == NULL)
            return STORE_FAILED;
        request->ids = ids;
        for (size_t p = 0; p < batch->count; p++)
            if (batch->submissions[p].scheme->id == request->scheme)
                *ids++ = batch->submissions[p].event->id;
    }
    return STORE_OK;
}

/* Before the first write, where the heads were not asked for at the start. */
static enum store_result take_heads(void *owner)
{
    struct batch *batch = owner;
    if (batch->heads_asked)
        return STORE_OK;
    batch->heads_asked = true;
    enum store_result result = pg_begin(batch->pg);
    return result == STORE_OK ? store_heads_expect(batch->pg, batch->arena, batch->head_requests,
                                                   batch->scheme_count, batch->snapshot->network.version)
                              : result;
}

static enum store_result open_scheme_ledger(struct batch *batch, const struct head_request *request,
                                            struct scheme_ledger *scheme_ledger)
{
    const struct network *network = &batch->snapshot->network;
    const struct calendar *calendar;
    struct kept_scheme *kept = kept_scheme(batch->kept, request->scheme);
    if (kept == NULL)
        return STORE_FAILED;
    enum store_result result = kept_calendar(kept, batch->pg, &request->head, batch->now, &calendar);
    if (result != STORE_OK)
        return result;
    ledger_init(&scheme_ledger->ledger, batch->pg, batch->arena, network,
                network->scheme_by_id[request->scheme], calendar, kept_state(kept, request), batch->now);
    scheme_ledger->ledger.before_write = take_heads;
    scheme_ledger->ledger.owner = batch;
    scheme_ledger->ledger.shared = batch->shares_heads || batch->met_other_writer;
    batch->met_replay = batch->met_replay || request->known_count > 0;
    size_t proposal_count;
    const struct known_event *proposals = kept_proposals(kept, &proposal_count);
    scheme_ledger_open(scheme_ledger);
    result = scheme_ledger_know(scheme_ledger, request->known, request->known_count);
    return result == STORE_OK ? scheme_ledger_know(scheme_ledger, proposals, proposal_count) : result;
}

/* Reads at once, for one scheme, what its events will ask for. */
static enum store_result prefetch(const struct batch *batch, struct scheme_ledger *scheme_ledger)
{
    size_t own = 0;
    struct submission *submissions = arena_array(batch->arena, batch->count + 1, sizeof *submissions);
    if (submissions == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < batch->count; i++)
        if (scheme_ledger_of(batch, batch->submissions[i].scheme->id) == scheme_ledger)
            submissions[own++] = batch->submissions[i];
    return scheme_ledger_prefetch(scheme_ledger, submissions, own);
}

/* Whether all the heads are where this writer last left them, as far as it knows. */
static bool assume_heads(struct batch *batch)
{
    for (size_t i = 0; i < batch->scheme_count; i++) {
        struct kept_scheme *kept = kept_scheme(batch->kept, batch->head_requests[i].scheme);
        if (kept == NULL || !kept_head(kept, batch->now, &batch->head_requests[i].head))
            return false;
    }
    pg_notice_closed(batch->pg);
    return pg_ready(batch->pg) == STORE_OK;
}

static enum store_result ask(struct pg *pg, struct arena *arena, struct kept_schemes *kept_schemes,
                             struct head_request *head_requests, size_t count, int wait_ms, int64_t *version)
{
    for (size_t i = 0; i < count; i++) {
        struct kept_scheme *kept = kept_scheme(kept_schemes, head_requests[i].scheme);
        head_requests[i].has_since = kept != NULL && kept_since(kept, &head_requests[i].since);
    }
    return store_batch_begin(pg, arena, head_requests, count, wait_ms, version);
}

enum store_result batch_take_early_head(struct early_head *early, struct pg *pg, struct arena *arena,
                                        struct kept_schemes *kept)
{
    early->request = (struct head_request){.scheme = early->scheme};
    enum store_result result = ask(pg, arena, kept, &early->request, 1, EARLY_HEAD_WAIT_MS, &early->version);
    early->taken = result == STORE_OK;
    if (!early->taken)
        pg_rollback(pg);
    return result;
}

static bool is_for_early_head(const struct batch *batch)
{
    return batch->early != NULL && batch->way == BATCH_TAKES_HEADS && batch->scheme_count == 1 &&
           batch->head_requests[0].scheme == batch->early->scheme;
}

/* Sets aside the events of schemes whose heads somebody else holds. */
static void park(struct batch *batch)
{
    size_t posted = 0, opened = 0;
    for (size_t i = 0; i < batch->count; i++) {
        struct submission *submission = &batch->submissions[i];
        submission->result->parked = !head_request_of(batch, submission->scheme->id)->taken;
        if (!submission->result->parked)
            batch->submissions[posted++] = *submission;
    }
    batch->count = posted;
    for (size_t i = 0; i < batch->scheme_count; i++) {
        struct kept_scheme *kept = kept_scheme(batch->kept, batch->head_requests[i].scheme);
        if (kept != NULL)
            kept_note_held(kept, !batch->head_requests[i].taken);
        if (batch->head_requests[i].taken)
            batch->head_requests[opened++] = batch->head_requests[i];
    }
    batch->scheme_count = opened;
}

/* A head is waited for only by who asks for no other, so that nobody waits in a circle. */
static enum store_result ask_for_heads(struct batch *batch, int64_t *version)
{
    int wait_ms = batch->may_wait && batch->scheme_count == 1 ? HEAD_WAIT_MS : 0;
    pg_rollback(batch->pg); /* lets go of an early head that is not for this batch */
    enum store_result result = ask(batch->pg, batch->arena, batch->kept, batch->head_requests,
                                   batch->scheme_count, wait_ms, version);
    if (result != STORE_LOCKED || wait_ms == 0)
        return result;
    batch->head_requests[0].taken = false;
    return STORE_OK;
}

static enum store_result ask_heads(struct batch *batch)
{
    int64_t version = batch->early != NULL ? batch->early->version : 0;
    enum store_result result = batch->way == BATCH_LOOKS_UP ? list_ids(batch) : STORE_OK;
    if (is_for_early_head(batch))
        batch->head_requests[0] = batch->early->request;
    else if (result == STORE_OK)
        result = ask_for_heads(batch, &version);
    batch->heads_asked = true;
    if (result == STORE_OK)
        park(batch);
    for (size_t i = 0; i < batch->scheme_count; i++)
        batch->met_other_writer = batch->met_other_writer || batch->head_requests[i].recent_count > 0;
    return result == STORE_OK && version > batch->snapshot->network.version ? STORE_CONFLICT : result;
}

/* Opens the ledger of each scheme. */
static enum store_result begin(struct batch *batch)
{
    enum store_result result = make_head_requests(batch);
    if (result == STORE_OK && batch->way == BATCH_EXPECTS_HEADS && !assume_heads(batch))
        batch->way = BATCH_LOOKS_UP;
    if (result == STORE_OK && batch->way != BATCH_EXPECTS_HEADS)
        result = ask_heads(batch);
    for (size_t i = 0; i < batch->scheme_count && result == STORE_OK; i++)
        result = open_scheme_ledger(batch, &batch->head_requests[i], &batch->ledgers[i]);
    for (size_t i = 0; i < batch->scheme_count && result == STORE_OK; i++)
        result = prefetch(batch, &batch->ledgers[i]);
    return result;
}

/* Writes it all and commits, in one round trip. */
static enum store_result end(struct batch *batch)
{
    struct pg *pg = batch->pg;
    if (batch->heads_asked && !pg_in_transaction(pg))
        return STORE_UNAVAILABLE; /* a new connection would not hold them */
    enum store_result result = pg_pipeline_begin(pg);
    for (size_t i = 0; i < batch->scheme_count && result == STORE_OK; i++)
        result = scheme_ledger_flush(&batch->ledgers[i]);
    if (result != STORE_OK)
        return result;
    if (batch->dry_run)
        return pg_pipeline_end(pg);
    result = pg_commit(pg);
    for (size_t i = 0; i < batch->scheme_count && result == STORE_OK; i++)
        kept_state_confirm(kept_scheme(batch->kept, batch->head_requests[i].scheme));
    return result;
}

enum store_result batch_post(struct batch *batch)
{
    enum store_result result = begin(batch);
    for (size_t i = 0; i < batch->count && result == STORE_OK; i++) {
        struct submission *submission = &batch->submissions[i];
        result = record_event(scheme_ledger_of(batch, submission->scheme->id), submission);
        /* Nobody has looked yet whether the event is known, and a replay is never refused. Nor need the heads
         * be held, under which a proposal is kept. */
        if (result == STORE_OK && batch->way != BATCH_LOOKS_UP &&
            (submission->result->faults.count > 0 || submission->result->status == EVENT_PROPOSED))
            result = STORE_CONFLICT;
    }
    if (result == STORE_OK && batch->count > 0)
        result = end(batch);
    for (size_t i = 0; i < batch->scheme_count; i++)
        ledger_dispose(&batch->ledgers[i].ledger);
    return result;
}
