/* SPDX-License-Identifier: ISC */
/* The transaction of work under the head row, and its retry. */
#include "app/posting/head_work.h"

#include "app/transaction/retry.h"
#include "app/transaction/transaction.h"
#include "base/clock.h"
#include "store/opening_store.h"

#include <assert.h>

enum store_result head_work_calendar(struct head_work *work)
{
    return store_calendars(work->pg, &work->arena,
                           &(struct calendar_request){work->scheme->id, &work->arena, &work->calendar}, 1,
                           work->closed_days > 0 ? work->closed_days : ALL_CLOSED_DAYS);
}

static enum store_result load_calendar(struct head_work *work)
{
    bool extended;
    struct instant until = {work->now.us + FUTURE_ALLOWED_US};
    enum store_result result = store_calendars_extend(work->pg, &work->scheme->id, 1, until, &extended);
    return result == STORE_OK ? head_work_calendar(work) : result;
}

enum store_result head_work_take(struct head_work *work)
{
    struct head head;
    enum store_result result = store_head_lock(work->pg, work->scheme->id, &head);
    if (result == STORE_OK && head.reference_version > work->network->version)
        result = STORE_CONFLICT;
    if (result != STORE_OK)
        return result;
    ledger_state_init(&work->state, &work->arena, NULL, &head);
    return work->calendar.days == NULL ? load_calendar(work) : STORE_OK;
}

/* Whether the key may still act. It may have been revoked since the request was let in. */
static void check_key(const struct head_work *work, struct faults *faults)
{
    if (work->key != 0 && snapshot_key(work->snapshot, work->key) == NULL)
        faults_refuse(faults, REASON_UNAUTHENTICATED);
}

/* Whether there is a day to post to. */
static void find_today(struct head_work *work, struct faults *faults)
{
    const struct business_day *day = calendar_day_of(&work->calendar, work->now);
    work->today = day != NULL ? calendar_posting_day(&work->calendar, day) : NULL;
    if (work->today == NULL)
        faults_refuse(faults, REASON_SCHEME_NOT_OPEN);
}

static enum store_result check_opening(struct head_work *work, struct faults *faults)
{
    bool pending;
    enum store_result result = store_opening_pending(work->pg, work->scheme->id, &pending);
    if (result == STORE_OK && pending)
        faults_refuse(faults, REASON_OPENING_PENDING);
    return result;
}

static enum store_result do_work(struct head_work *work, const struct head_order *order,
                                 struct faults *faults)
{
    if (order->work == NULL)
        return STORE_OK;
    work->unwritten = (struct unwritten){
        .pg = work->pg,
        .arena = &work->arena,
        .now = work->now,
        .at_once = true,
    };
    unwritten_init(&work->unwritten);
    work->ledger = (struct ledger){
        .pg = work->pg,
        .arena = &work->arena,
        .network = work->network,
        .scheme = work->scheme,
        .calendar = &work->calendar,
        .now = work->now,
        .state = &work->state,
        .unwritten = &work->unwritten,
    };
    ledger_init(&work->ledger);
    enum store_result result = order->work(order->context, work, faults);
    if (result == STORE_OK && faults->count == 0)
        result = ledger_flush(&work->ledger);
    unwritten_dispose(&work->unwritten);
    return result;
}

static enum store_result take_and_work(struct head_work *work, const struct head_order *order,
                                       struct faults *faults)
{
    enum store_result result = head_work_take(work);
    if (result == STORE_OK)
        check_key(work, faults);
    if (result == STORE_OK && order->posts_now)
        find_today(work, faults);
    if (result == STORE_OK && order->work != NULL && !order->decides_opening)
        result = check_opening(work, faults);
    return result == STORE_OK && faults->count == 0 ? do_work(work, order, faults) : result;
}

static enum store_result attempt(struct head_work *work, const struct head_order *order,
                                 struct faults *faults)
{
    enum store_result result = pg_begin(work->pg);
    if (result == STORE_OK && order->before != NULL)
        result = order->before(order->context, work, faults);
    if (result == STORE_OK && faults->count == 0 && !work->done)
        result = take_and_work(work, order, faults);
    if (result == STORE_OK && faults->count == 0 && order->view != NULL)
        result = order->view(order->context, work->pg);
    return transaction_end(work->pg, result, faults, !order->dry_run);
}

static enum store_result attempt_anew(struct pg *pg, struct snapshot_cache *snapshots,
                                      const struct head_order *order, struct faults *faults)
{
    struct head_work work = {
        .pg = pg, .key = order->key, .now = clock_now(), .closed_days = order->closed_days};
    enum store_result result = snapshot_refresh(snapshots, pg);
    if (result != STORE_OK)
        return result;
    faults_init(faults, faults->arena); /* without the faults of an attempt that lost a race */
    arena_init(&work.arena, 0);
    work.snapshot = snapshot_hold(snapshots);
    work.network = &work.snapshot->network;
    work.scheme = work.network->scheme_by_id[order->scheme];
    result = attempt(&work, order, faults);
    snapshot_release(work.snapshot);
    arena_dispose(&work.arena);
    return result;
}

enum store_result head_work_run(struct pg *pg, struct snapshot_cache *snapshots,
                                const struct head_order *order, struct faults *faults)
{
    assert(faults->count == 0);
    enum store_result result = attempt_anew(pg, snapshots, order, faults);
    for (int attempts = 1; retry_is_due(RETRYING_OFFICE, result, attempts); attempts++)
        result = attempt_anew(pg, snapshots, order, faults);
    if (result == STORE_OUT_OF_RANGE && order->posts_now) {
        faults_add(faults, REASON_OUT_OF_RANGE, NULL, "a balance would become too large");
        return STORE_OK;
    }
    return result;
}

enum store_result head_work_post(struct head_work *work, const struct posting_facts *facts, int64_t *entry)
{
    struct draft draft = {
        .business_date = work->today->date,
        .key = work->key,
        .occurred_at = work->now,
    };
    return post_facts(&work->ledger, facts, &draft, entry);
}
