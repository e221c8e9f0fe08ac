/* SPDX-License-Identifier: ISC */
/* The two transactions of a close. The first cuts the day, which then takes no more events. The second does
 * all the rest, from rows of the cut day, which cannot change any more. A dry run does both in one and rolls
 * back. */
#include "app/closing/close.h"

#include "app/closing/close_remeasure.h"
#include "app/closing/close_seal.h"
#include "app/closing/close_settle.h"

#include <assert.h>

enum { CLOSED_DAYS_READ = 31 };

struct close_run {
    const struct close_order *order;
    struct closing closing; /* filled anew in each attempt of the second transaction */
};

/* Held to the end of the transaction. */
static enum store_result lock(const struct close_run *run, struct head_work *work)
{
    bool held = true;
    enum store_result result = run->order->leaves_others
                                   ? store_close_try_lock(work->pg, work->scheme->id, &held)
                                   : store_close_lock(work->pg, work->scheme->id);
    return result == STORE_OK && !held ? STORE_LOCKED : result;
}

/* --- the cut ------------------------------------------------------------------------------------------- */

/* Days that were closed long ago are read only if one of them is asked for. *day: NULL if there is none. */
static enum store_result find_day(struct head_work *work, struct date date, const struct business_day **day)
{
    const struct calendar *calendar = &work->calendar;
    enum store_result result = STORE_OK;
    if (work->closed_days > 0 && calendar->count > 0 && date.days < calendar->days[0].date.days) {
        work->closed_days = 0;
        result = head_work_calendar(work);
    }
    *day = result == STORE_OK ? calendar_day(calendar, date) : NULL;
    return result;
}

/* `day` is NULL where the calendar does not have the date. */
static enum reason refusal(const struct head_work *work, struct date date, const struct business_day *day)
{
    const struct calendar *calendar = &work->calendar;
    if (day == NULL)
        return calendar->count > 0 && date.days > calendar->days[0].date.days ? REASON_DAY_NOT_ENDED
                                                                              : REASON_NOT_FOUND;
    if (day->state == DAY_CLOSED)
        return REASON_NONE;
    if (work->now.us < day->ends_at.us)
        return REASON_DAY_NOT_ENDED;
    if (day > calendar->days && day[-1].state != DAY_CLOSED)
        return REASON_EARLIER_DAY_OPEN;
    return REASON_NONE;
}

/* Another close holds the head row for a while, so look before waiting for it. */
static enum store_result leave_to_others(void *context, struct head_work *work, struct faults *faults)
{
    (void)faults;
    return lock(context, work);
}

/* Runs under the head row, so that the writer sees the cut before or after a batch, never within one. */
static enum store_result cut(void *context, struct head_work *work, struct faults *faults)
{
    const struct close_run *run = context;
    struct date date = run->order->date;
    const struct business_day *day;
    enum store_result result = find_day(work, date, &day);
    if (result != STORE_OK)
        return result;
    enum reason reason = refusal(work, date, day);
    if (reason != REASON_NONE) {
        faults_add(faults, reason, "", "%s", reason_info(reason)->title);
        return STORE_OK;
    }
    if (day->state != DAY_OPEN)
        return STORE_OK;
    result = store_close_cut(work->pg, work->scheme->id, date, work->now);
    if (result == STORE_OK) /* recent movements that follow are of later days only */
        result = store_fold(work->pg, &work->scheme->id, 1);
    return result == STORE_OK ? store_calendar_changed(work->pg, work->scheme->id) : result;
}

/* --- the rest ------------------------------------------------------------------------------------------ */

static enum store_result index_participants(struct closing *closing)
{
    struct head_work *work = closing->work;
    closing->participant_index =
        arena_array(&work->arena, (size_t)work->network->participant_ids, sizeof *closing->participant_index);
    if (closing->participant_index == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < closing->participant_count; i++) {
        /* The snapshot is older than the figures. The head row would show the same. */
        if (closing->participants[i].participant >= work->network->participant_ids)
            return STORE_CONFLICT;
        closing->participant_index[closing->participants[i].participant] = (int32_t)i;
    }
    return STORE_OK;
}

/* Whether any fee so far may depend on the type of a cup. Reversals reach back to earlier terms. */
static bool fees_by_type(const struct closing *closing)
{
    const struct scheme *scheme = closing->work->scheme;
    for (size_t i = 0; i < scheme->terms_count && &scheme->terms[i] <= closing->terms; i++)
        for (size_t j = 0; j < scheme->terms[i].fee_row_count; j++)
            if (scheme->terms[i].fee_rows[j].cup_type != 0)
                return true;
    return false;
}

static enum store_result load_counted(struct closing *closing)
{
    struct head_work *work = closing->work;
    int32_t scheme = work->scheme->id;
    struct date date = closing->day->date;
    return fees_by_type(closing) ? store_closing_counted_types(work->pg, &work->arena, scheme, date,
                                                               &closing->counted, &closing->counted_count)
                                 : store_closing_counted(work->pg, &work->arena, scheme, date,
                                                         &closing->counted, &closing->counted_count);
}

static enum store_result load_figures(struct closing *closing)
{
    struct head_work *work = closing->work;
    int32_t scheme = work->scheme->id;
    struct date date = closing->day->date;
    enum store_result result =
        store_closing_sites(work->pg, &work->arena, scheme, date, &closing->sites, &closing->site_count);
    if (result == STORE_OK)
        result = load_counted(closing);
    if (result == STORE_OK)
        result =
            store_closing_participants(work->pg, &work->arena, scheme,
                                       (struct unpaid_days){scheme_unpaid_from(work->scheme, date), date},
                                       &closing->participants, &closing->participant_count);
    return result == STORE_OK ? index_participants(closing) : result;
}

/* The last close of a month issues its fee notes, from the lines of fees that the closes kept. */
static enum store_result issue_fee_notes(const struct closing *closing)
{
    struct month_day day = date_month_day(closing->day->date);
    return day.day == day.last
               ? store_close_fee_notes(closing->work->pg, closing->work->scheme->id, closing->day->date)
               : STORE_OK;
}

static enum store_result finish(struct closing *closing)
{
    struct head_work *work = closing->work;
    int32_t scheme = work->scheme->id;
    struct date date = closing->day->date;
    enum store_result result = ledger_flush(&work->ledger);
    if (result == STORE_OK)
        result = store_close_balances(work->pg, scheme, date);
    if (result == STORE_OK)
        result = issue_fee_notes(closing);
    if (result == STORE_OK)
        result = close_seal(closing);
    if (result == STORE_OK)
        result = close_remeasure(closing);
    if (result == STORE_OK)
        result = ledger_flush(&work->ledger);
    if (result == STORE_OK)
        result = store_close_day(work->pg, scheme, date);
    return result == STORE_OK ? store_calendar_changed(work->pg, scheme) : result;
}

/* Reads the day and its figures. Nothing is left to do if another caller has closed the day meanwhile. */
static enum store_result read_cut_day(struct close_run *run, struct head_work *work)
{
    struct closing *closing = &run->closing;
    *closing = (struct closing){.work = work};
    enum store_result result = head_work_calendar(work);
    if (result == STORE_OK)
        result = find_day(work, run->order->date, &closing->day);
    if (result != STORE_OK)
        return result;
    work->done = closing->day->state == DAY_CLOSED;
    if (work->done)
        return STORE_OK;
    closing->terms = scheme_terms(work->scheme, closing->day->date);
    assert(closing->terms != NULL); /* the first day is that of the first terms */
    return load_figures(closing);
}

/* Runs before the head row is taken. The rows of a cut day do not change, so the writer may go on meanwhile.
 * A dry run must not commit the cut, so it cuts here, and takes its locks in the same order. */
static enum store_result prepare(void *context, struct head_work *work, struct faults *faults)
{
    struct close_run *run = context;
    enum store_result result = lock(run, work);
    if (result == STORE_OK && run->order->dry_run)
        result = head_work_take(work);
    if (result == STORE_OK && run->order->dry_run)
        result = cut(run, work, faults);
    return result == STORE_OK && faults->count == 0 ? read_cut_day(run, work) : result;
}

static enum store_result settle_and_finish(void *context, struct head_work *work, struct faults *faults)
{
    struct close_run *run = context;
    (void)work;
    (void)faults;
    enum store_result result = close_settle(&run->closing);
    return result == STORE_OK ? finish(&run->closing) : result;
}

static enum store_result view(void *context, struct pg *pg)
{
    const struct close_order *order = ((const struct close_run *)context)->order;
    return order->view != NULL ? order->view(order->context, pg) : STORE_OK;
}

enum store_result close_day(struct pg *pg, struct snapshot_cache *snapshots, const struct close_order *order,
                            struct faults *faults)
{
    struct close_run run = {.order = order};
    const struct head_order cutting = {
        .scheme = order->scheme,
        .key = order->key,
        .closed_days = CLOSED_DAYS_READ,
        .before = order->leaves_others ? leave_to_others : NULL,
        .work = cut,
        .context = &run,
    };
    const struct head_order closing = {
        .scheme = order->scheme,
        .key = order->key,
        .dry_run = order->dry_run,
        .closed_days = CLOSED_DAYS_READ,
        .before = prepare,
        .work = settle_and_finish,
        .view = view,
        .context = &run,
    };
    enum store_result result = STORE_OK;
    if (!order->dry_run)
        result = head_work_run(pg, snapshots, &cutting, faults);
    return result == STORE_OK && faults->count == 0 ? head_work_run(pg, snapshots, &closing, faults) : result;
}

/* head_work_run extends the calendar even if there is no work. */
enum store_result close_extend_calendar(struct pg *pg, struct snapshot_cache *snapshots, int32_t scheme)
{
    struct arena arena;
    struct faults faults;
    arena_init(&arena, 0);
    faults_init(&faults, &arena);
    enum store_result result = head_work_run(pg, snapshots, &(struct head_order){.scheme = scheme}, &faults);
    arena_dispose(&arena);
    return result;
}
