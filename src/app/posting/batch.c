/* SPDX-License-Identifier: ISC */
/* The transaction of a batch. Only the holder of a scheme's head row may append entries to the scheme. The
 * commit lets go of the heads. A batch takes its heads in one of three ways:
 *
 * BATCH_EXPECTS_HEADS records the events in memory, on the copy that this writer keeps of each ledger, and
 * holds no head meanwhile. Before the first write, one statement takes the heads, provided that they are
 * still where the copies end. As a rule that statement, the writes and the commit are one round trip.
 *
 * BATCH_TAKES_HEADS begins by taking the heads. The same round trip brings the entries that other writers
 * have posted since, and the copies are caught up. The batch holds the heads while it records the events; the
 * writes and the commit are a second round trip. An early head is taken in the same manner, but before the
 * batch is made.
 *
 * BATCH_LOOKS_UP does the same, and its first round trip also finds out which ids the ledger has.
 *
 * The first two ways assume that every event is new and will be recorded. If that is wrong, nothing is
 * recorded: the database refuses heads that have moved and ids that are taken, and the batch itself gives up
 * when it would have to refuse an event or keep a proposal. The caller then posts it again as
 * BATCH_LOOKS_UP. */
#include "app/posting/batch.h"

#include "app/posting/prefetch.h"
#include "app/posting/record.h"

/* NULL: the batch has no event of the scheme, or no head. */
static struct scheme_ledger *scheme_ledger_of(const struct batch *batch, int32_t scheme)
{
    uint32_t place = batch->places[scheme];
    return place != 0 ? &batch->ledgers[place - 1] : NULL;
}

/* Notes where each scheme's request is. */
static void note_places(struct batch *batch)
{
    for (size_t i = 0; i < batch->scheme_count; i++)
        batch->places[batch->head_requests[i].scheme] = (uint32_t)i + 1;
}

/* Makes one request for each scheme of the batch's events, ascending by scheme. */
static enum store_result make_head_requests(struct batch *batch)
{
    size_t count = 0;
    batch->places =
        arena_array(batch->arena, (size_t)batch->snapshot->network.scheme_ids, sizeof *batch->places);
    if (batch->places == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < batch->count; i++) {
        uint32_t *place = &batch->places[batch->submissions[i].scheme->id];
        count += *place == 0;
        *place = 1;
    }
    batch->head_requests = arena_array(batch->arena, count, sizeof *batch->head_requests);
    batch->ledgers = arena_array(batch->arena, count, sizeof *batch->ledgers);
    if (batch->head_requests == NULL || batch->ledgers == NULL)
        return STORE_FAILED;
    for (int32_t scheme = 0; batch->scheme_count < count; scheme++)
        if (batch->places[scheme] != 0)
            batch->head_requests[batch->scheme_count++].scheme = scheme;
    for (size_t i = 0; i < batch->scheme_count; i++)
        kept_note_events(batch->kept, batch->head_requests[i].scheme);
    note_places(batch);
    return STORE_OK;
}

/* Lists the events, to have them looked up. NULL: out of memory. */
static const struct event_name *list_events(const struct batch *batch)
{
    struct event_name *names = arena_array(batch->arena, batch->count, sizeof *names);
    for (size_t i = 0; names != NULL && i < batch->count; i++)
        names[i] = (struct event_name){batch->submissions[i].scheme->id, batch->submissions[i].event->id};
    return names;
}

/* Called before the first write. Takes the heads if the batch has not begun with them. */
static enum store_result take_expected_heads(void *owner)
{
    struct batch *batch = owner;
    if (batch->heads_asked)
        return STORE_OK;
    batch->heads_asked = true;
    enum store_result result = pg_begin(batch->pg);
    return result == STORE_OK ? store_heads_expect(batch->pg, batch->head_requests, batch->scheme_count,
                                                   batch->snapshot->network.version)
                              : result;
}

static enum store_result open_scheme_ledger(struct batch *batch, const struct head_request *request,
                                            struct scheme_ledger *scheme_ledger)
{
    const struct network *network = &batch->snapshot->network;
    enum store_result result = STORE_OK;
    size_t proposal_count;
    struct kept_scheme *kept = kept_scheme(batch->kept, request->scheme);
    if (kept == NULL)
        return STORE_FAILED;
    const struct known_event *proposals = kept_proposals(kept, &proposal_count);
    scheme_ledger->ledger = (struct ledger){
        .pg = batch->pg,
        .arena = batch->arena,
        .network = network,
        .scheme = network->scheme_by_id[request->scheme],
        .calendar = kept_calendar(kept),
        .now = batch->now,
        .state = kept_state(kept, request),
        .unwritten = &batch->unwritten,
    };
    ledger_init(&scheme_ledger->ledger);
    scheme_ledger_open(scheme_ledger);
    for (size_t i = 0; i < proposal_count && result == STORE_OK; i++)
        result = scheme_ledger_know(scheme_ledger, &proposals[i]);
    return result;
}

/* Tells the ledgers which events they have already. Those of heads that were not taken are left out. */
static enum store_result tell_known(struct batch *batch)
{
    enum store_result result = STORE_OK;
    for (size_t i = 0; i < batch->known_count && result == STORE_OK; i++) {
        struct scheme_ledger *scheme_ledger = scheme_ledger_of(batch, batch->known[i].scheme);
        if (scheme_ledger == NULL)
            continue;
        batch->met_replay = true;
        result = scheme_ledger_know(scheme_ledger, &batch->known[i]);
    }
    return result;
}

/* Puts into the requests where this writer last left the heads. False: it does not know that of each head, or
 * the connection has to be made anew. */
static bool expect_heads(struct batch *batch)
{
    for (size_t i = 0; i < batch->scheme_count; i++) {
        struct kept_scheme *kept = kept_scheme(batch->kept, batch->head_requests[i].scheme);
        if (kept == NULL || !kept_head(kept, batch->now, &batch->head_requests[i].head))
            return false;
    }
    pg_notice_closed(batch->pg);
    return pg_ready(batch->pg) == STORE_OK;
}

static enum store_result request_heads(struct pg *pg, struct arena *arena, struct kept_schemes *kept_schemes,
                                       struct batch_begin *begin)
{
    for (size_t i = 0; i < begin->count; i++) {
        struct head_request *request = &begin->requests[i];
        struct kept_scheme *kept = kept_scheme(kept_schemes, request->scheme);
        request->has_since = kept != NULL && kept_since(kept, &request->since);
    }
    return store_batch_begin(pg, arena, begin);
}

enum store_result batch_take_early_head(struct early_head *early, struct pg *pg, struct arena *arena,
                                        struct kept_schemes *kept)
{
    early->request = (struct head_request){.scheme = early->scheme};
    struct batch_begin begin = {.requests = &early->request, .count = 1, .wait_ms = EARLY_HEAD_WAIT_MS};
    enum store_result result = request_heads(pg, arena, kept, &begin);
    early->version = begin.version;
    early->taken = result == STORE_OK;
    if (!early->taken)
        pg_rollback(pg);
    return result;
}

static bool uses_early_head(const struct batch *batch)
{
    return batch->early != NULL && batch->way == BATCH_TAKES_HEADS && batch->scheme_count == 1 &&
           batch->head_requests[0].scheme == batch->early->scheme;
}

static bool is_held(const struct batch *batch, const struct scheme *scheme)
{
    uint32_t place = batch->places[scheme->id];
    return place != 0 && !batch->head_requests[place - 1].taken;
}

/* Takes out of the batch the schemes whose heads somebody else holds, and parks their events. */
static void park_held(struct batch *batch)
{
    size_t posted = 0, opened = 0;
    waiting_begin(&batch->waiting);
    for (size_t i = 0; i < batch->count; i++) {
        const struct submission *submission = &batch->submissions[i];
        if (!waiting_meets(&batch->waiting, submission, is_held(batch, submission->scheme)))
            batch->submissions[posted++] = *submission;
    }
    batch->count = posted;
    for (size_t i = 0; i < batch->scheme_count; i++) {
        struct kept_scheme *kept = kept_scheme(batch->kept, batch->head_requests[i].scheme);
        if (kept != NULL)
            kept_note_held(kept, !batch->head_requests[i].taken);
        batch->places[batch->head_requests[i].scheme] = 0;
        if (batch->head_requests[i].taken)
            batch->head_requests[opened++] = batch->head_requests[i];
    }
    batch->scheme_count = opened;
    note_places(batch);
}

/* How long to wait for held heads: only if the batch needs a single one, so that nobody waits in a circle. */
static int head_wait_ms(const struct batch *batch)
{
    if (!batch->may_wait || batch->scheme_count != 1)
        return 0;
    int32_t scheme = batch->head_requests[0].scheme;
    const struct kept_scheme *kept = kept_scheme(batch->kept, scheme);
    if (kept == NULL || !kept_may_wait(kept))
        return 0;
    return kept_others_have_events(batch->kept, scheme) ? HEAD_WAIT_BRIEF_MS : HEAD_WAIT_MS;
}

static enum store_result lock_heads(struct batch *batch, int64_t *version)
{
    struct batch_begin begin = {
        .requests = batch->head_requests,
        .count = batch->scheme_count,
        .wanted = batch->way == BATCH_LOOKS_UP ? list_events(batch) : NULL,
        .wanted_count = batch->count,
        .wait_ms = head_wait_ms(batch),
    };
    if (batch->way == BATCH_LOOKS_UP && begin.wanted == NULL)
        return STORE_FAILED;
    pg_rollback(batch->pg); /* lets go of an early head that is not for this batch */
    enum store_result result = request_heads(batch->pg, batch->arena, batch->kept, &begin);
    *version = begin.version;
    batch->known = begin.known;
    batch->known_count = begin.known_count;
    if (result != STORE_LOCKED || begin.wait_ms == 0)
        return result;
    struct kept_scheme *kept = kept_scheme(batch->kept, batch->head_requests[0].scheme);
    if (kept != NULL)
        kept_note_waited_in_vain(kept, begin.wait_ms);
    batch->head_requests[0].taken = false;
    return STORE_OK;
}

static enum store_result take_heads(struct batch *batch)
{
    int64_t version = batch->early != NULL ? batch->early->version : 0;
    enum store_result result = STORE_OK;
    if (uses_early_head(batch))
        batch->head_requests[0] = batch->early->request;
    else
        result = lock_heads(batch, &version);
    batch->heads_asked = true;
    if (result == STORE_OK)
        park_held(batch);
    for (size_t i = 0; i < batch->scheme_count; i++)
        batch->met_other_writer = batch->met_other_writer || batch->head_requests[i].recent_count > 0;
    return result == STORE_OK && version > batch->snapshot->network.version ? STORE_CONFLICT : result;
}

/* Opens the ledger of each scheme, under its head or as it is kept. */
static enum store_result open_ledgers(struct batch *batch)
{
    batch->unwritten.shared = batch->shares_heads || batch->met_other_writer;
    enum store_result result = kept_calendars_renew(batch->kept, batch->pg, batch->arena,
                                                    batch->head_requests, batch->scheme_count, batch->now);
    for (size_t i = 0; i < batch->scheme_count && result == STORE_OK; i++)
        result = open_scheme_ledger(batch, &batch->head_requests[i], &batch->ledgers[i]);
    return result == STORE_OK ? tell_known(batch) : result;
}

static enum store_result read_ahead(const struct batch *batch)
{
    struct ledger **ledgers = arena_array(batch->arena, batch->count, sizeof(struct ledger *));
    if (ledgers == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < batch->count; i++)
        ledgers[i] = &scheme_ledger_of(batch, batch->submissions[i].scheme->id)->ledger;
    return prefetch(batch->pg, batch->arena, &(struct foreseen){batch->submissions, ledgers, batch->count});
}

/* Takes the heads unless the batch expects them, and learns what the events depend on. */
static enum store_result begin(struct batch *batch)
{
    enum store_result result = make_head_requests(batch);
    if (result == STORE_OK && batch->way == BATCH_EXPECTS_HEADS && !expect_heads(batch))
        batch->way = BATCH_LOOKS_UP;
    if (result == STORE_OK && batch->way != BATCH_EXPECTS_HEADS)
        result = take_heads(batch);
    if (result == STORE_OK)
        result = open_ledgers(batch);
    return result == STORE_OK ? read_ahead(batch) : result;
}

/* Writes everything and commits, in one round trip. */
static enum store_result write_and_commit(struct batch *batch)
{
    struct pg *pg = batch->pg;
    if (batch->heads_asked && !pg_in_transaction(pg))
        return STORE_UNAVAILABLE; /* the connection broke, and the heads are held no more */
    enum store_result result = pg_pipeline_begin(pg);
    for (size_t i = 0; i < batch->scheme_count && result == STORE_OK; i++)
        result = scheme_ledger_write_proposals(&batch->ledgers[i]);
    if (result == STORE_OK)
        result = unwritten_flush(&batch->unwritten);
    if (result != STORE_OK)
        return result;
    if (batch->dry_run)
        return pg_pipeline_end(pg);
    result = pg_commit(pg);
    for (size_t i = 0; i < batch->scheme_count && result == STORE_OK; i++)
        kept_state_confirm(kept_scheme(batch->kept, batch->head_requests[i].scheme));
    return result;
}

static void measure_kept(const struct batch *batch)
{
    for (size_t i = 0; i < batch->scheme_count; i++) {
        struct kept_scheme *kept = kept_scheme(batch->kept, batch->head_requests[i].scheme);
        if (kept != NULL)
            kept_measure(batch->kept, kept);
    }
}

/* An event that was not looked up may be a replay, and a replay must not be refused. A proposal is kept under
 * the heads, which BATCH_EXPECTS_HEADS may not hold yet. */
static enum store_result record_one(struct batch *batch, struct submission *submission)
{
    const struct event_result *outcome = submission->result;
    if (waiting_meets(&batch->waiting, submission, false))
        return STORE_OK;
    enum store_result result = record_event(scheme_ledger_of(batch, submission->scheme->id), submission);
    if (result == STORE_OK && outcome->parked)
        waiting_add(&batch->waiting, submission);
    if (result == STORE_OK && batch->way != BATCH_LOOKS_UP &&
        (outcome->faults.count > 0 || outcome->status == EVENT_PROPOSED))
        return STORE_CONFLICT;
    return result;
}

enum store_result batch_post(struct batch *batch)
{
    batch->unwritten = (struct unwritten){
        .pg = batch->pg,
        .arena = batch->arena,
        .now = batch->now,
        .before_write = take_expected_heads,
        .owner = batch,
    };
    unwritten_init(&batch->unwritten);
    enum store_result result = begin(batch);
    waiting_begin(&batch->waiting);
    for (size_t i = 0; i < batch->count && result == STORE_OK; i++)
        result = record_one(batch, &batch->submissions[i]);
    if (result == STORE_OK && batch->count > 0)
        result = write_and_commit(batch);
    unwritten_dispose(&batch->unwritten);
    measure_kept(batch);
    return result;
}
