/* SPDX-License-Identifier: ISC */
/* The steps of a close, in the order in which they are taken: the cut, and the one transaction for all the
 * rest. */
#include "app/closing/close.h"

#include "app/closing/close_remeasure.h"
#include "app/closing/close_seal.h"
#include "app/closing/close_settle.h"
#include "app/transaction/retry.h"
#include "base/clock.h"

#include <assert.h>

static enum store_result lock_head(struct closing *closing, struct head *head)
{
    enum store_result result = store_head_lock(closing->pg, &closing->arena, closing->scheme->id, head);
    if (result != STORE_OK)
        return result;
    return head->reference_version > closing->network->version ? STORE_CONFLICT : STORE_OK;
}

static enum store_result load_day(struct closing *closing)
{
    enum store_result result =
        store_calendar(closing->pg, &closing->arena, closing->scheme->id, &closing->calendar);
    closing->day = calendar_day(&closing->calendar, closing->date);
    return result;
}

static enum reason refusal(const struct closing *closing)
{
    const struct calendar *calendar = &closing->calendar;
    if (closing->day == NULL)
        return calendar->count > 0 && closing->date.days > calendar->days[0].date.days ? REASON_DAY_NOT_ENDED
                                                                                       : REASON_NOT_FOUND;
    if (closing->day->state == DAY_CLOSED)
        return REASON_NONE;
    if (closing->now.us < closing->day->ends_at.us)
        return REASON_DAY_NOT_ENDED;
    if (closing->day > calendar->days && closing->day[-1].state != DAY_CLOSED)
        return REASON_EARLIER_DAY_OPEN;
    return REASON_NONE;
}

/* From its commit on, the day takes no more events. Under the head row, so that the writer sees it before or
 * after a batch, never within. */
static enum store_result cut(struct closing *closing, struct faults *faults)
{
    struct head head;
    bool extended;
    enum store_result result = lock_head(closing, &head);
    if (result == STORE_OK)
        result = store_calendar_extend(closing->pg, closing->scheme->id,
                                       (struct instant){closing->now.us + FUTURE_ALLOWED_US}, &extended);
    if (result == STORE_OK)
        result = load_day(closing);
    if (result != STORE_OK)
        return result;
    enum reason reason = refusal(closing);
    if (reason != REASON_NONE) {
        faults_add(faults, reason, "", "%s", reason_info(reason)->title);
        return STORE_OK;
    }
    if (closing->day->state != DAY_OPEN)
        return STORE_OK;
    result = store_close_cut(closing->pg, closing->scheme->id, closing->date);
    if (result == STORE_OK) /* what is beside the balances from now on is of later days */
        result = store_fold(closing->pg, closing->scheme->id);
    return result == STORE_OK ? store_calendar_changed(closing->pg, closing->scheme->id) : result;
}

static enum store_result index_participants(struct closing *closing)
{
    closing->participant_index = arena_array(&closing->arena, (size_t)closing->network->participant_ids,
                                             sizeof *closing->participant_index);
    if (closing->participant_index == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < closing->participant_count; i++) {
        /* The figures may be newer than the snapshot: then the head row's version will be, too. */
        if (closing->participants[i].participant >= closing->network->participant_ids)
            return STORE_CONFLICT;
        closing->participant_index[closing->participants[i].participant] = (int32_t)i;
    }
    return STORE_OK;
}

static enum store_result load_figures(struct closing *closing)
{
    int32_t scheme = closing->scheme->id;
    struct date date = closing->day->date;
    enum store_result result = store_closing_sites(closing->pg, &closing->arena, scheme, date,
                                                   &closing->sites, &closing->site_count);
    if (result == STORE_OK)
        result = store_closing_reversed(closing->pg, &closing->arena, scheme, date, &closing->reversed,
                                        &closing->reversed_count);
    if (result == STORE_OK)
        result = store_closing_participants(closing->pg, &closing->arena, scheme, date,
                                            &closing->participants, &closing->participant_count);
    return result == STORE_OK ? index_participants(closing) : result;
}

static enum store_result finish(struct closing *closing)
{
    int32_t scheme = closing->scheme->id;
    struct date date = closing->day->date;
    enum store_result result = ledger_flush(&closing->ledger);
    if (result == STORE_OK)
        result = store_close_balances(closing->pg, scheme, date);
    if (result == STORE_OK)
        result = close_seal(closing);
    if (result == STORE_OK)
        result = close_remeasure(closing);
    if (result == STORE_OK)
        result = ledger_flush(&closing->ledger);
    if (result == STORE_OK)
        result = store_close_day(closing->pg, scheme, date);
    return result == STORE_OK ? store_calendar_changed(closing->pg, scheme) : result;
}

static enum store_result post_close(struct closing *closing, const struct head *head)
{
    ledger_state_init(&closing->state, &closing->arena, NULL, head);
    ledger_init(&closing->ledger, closing->pg, &closing->arena, closing->network, closing->scheme,
                &closing->calendar, &closing->state, closing->now);
    closing->ledger.at_once = true;
    enum store_result result = close_settle(closing);
    if (result == STORE_OK)
        result = finish(closing);
    ledger_dispose(&closing->ledger);
    return result;
}

/* The day is cut: nobody adds to its rows, so they are read before the head row is taken. */
static enum store_result close_cut_day(struct closing *closing)
{
    struct head head;
    enum store_result result = store_close_lock(closing->pg, closing->scheme->id);
    if (result == STORE_OK)
        result = load_day(closing);
    if (result != STORE_OK || closing->day->state == DAY_CLOSED)
        return result;
    closing->terms = scheme_terms(closing->scheme, closing->day->date);
    assert(closing->terms != NULL); /* the first day is that of the first terms */
    result = load_figures(closing);
    if (result == STORE_OK)
        result = lock_head(closing, &head);
    return result == STORE_OK ? post_close(closing, &head) : result;
}

static enum store_result view_and_end(struct closing *closing, const struct close_order *order)
{
    enum store_result result = order->view != NULL ? order->view(order->context, closing->pg) : STORE_OK;
    return result == STORE_OK && !order->dry_run ? pg_commit(closing->pg) : result;
}

static enum store_result attempt(struct closing *closing, const struct close_order *order,
                                 struct faults *faults)
{
    enum store_result result = pg_begin(closing->pg);
    if (result == STORE_OK && order->dry_run) /* in the order in which a close takes its locks */
        result = store_close_lock(closing->pg, closing->scheme->id);
    if (result == STORE_OK)
        result = cut(closing, faults);
    if (result != STORE_OK || faults->count > 0)
        return result;
    if (!order->dry_run) {
        result = pg_commit(closing->pg);
        if (result == STORE_OK)
            result = pg_begin(closing->pg);
    }
    if (result == STORE_OK)
        result = close_cut_day(closing);
    return result == STORE_OK ? view_and_end(closing, order) : result;
}

enum store_result close_day(struct pg *pg, struct snapshot_cache *snapshots, const struct close_order *order,
                            struct faults *faults)
{
    enum store_result result = STORE_OK;
    for (int tries = 0; tries == 0 || retry_is_due(RETRYING_OFFICE, result, tries); tries++) {
        struct closing closing = {.pg = pg, .key = order->key, .date = order->date, .now = clock_now()};
        result = snapshot_refresh(snapshots, pg);
        if (result != STORE_OK)
            break;
        arena_init(&closing.arena, 0);
        closing.snapshot = snapshot_hold(snapshots);
        closing.network = &closing.snapshot->network;
        closing.scheme = closing.network->scheme_by_id[order->scheme];
        result = attempt(&closing, order, faults);
        pg_rollback(pg); /* of what failed, and of a dry run */
        snapshot_release(closing.snapshot);
        arena_dispose(&closing.arena);
    }
    return result;
}

enum store_result close_extend_calendar(struct pg *pg, int32_t scheme)
{
    struct arena arena;
    struct head head;
    bool extended;
    arena_init(&arena, 0);
    enum store_result result = pg_begin(pg);
    if (result == STORE_OK)
        result = store_head_lock(pg, &arena, scheme, &head);
    if (result == STORE_OK)
        result = store_calendar_extend(pg, scheme, (struct instant){clock_now().us + FUTURE_ALLOWED_US},
                                       &extended);
    if (result == STORE_OK)
        result = pg_commit(pg);
    pg_rollback(pg);
    arena_dispose(&arena);
    return result;
}
