/* SPDX-License-Identifier: ISC */
/* The desk's transaction, with its retries, and the works of payments and of the bank's lines. */
#include "app/office/payments.h"

#include "app/transaction/retry.h"
#include "base/clock.h"
#include "store/payment_store.h"

#include <assert.h>

/* --- the transaction ----------------------------------------------------------------------------------- */

static enum store_result load_calendar(struct payment_desk *desk, struct faults *faults)
{
    bool extended;
    enum store_result result = store_calendar_extend(
        desk->pg, desk->scheme->id, (struct instant){desk->now.us + FUTURE_ALLOWED_US}, &extended);
    if (result == STORE_OK)
        result = store_calendar(desk->pg, &desk->arena, desk->scheme->id, &desk->calendar);
    if (result != STORE_OK)
        return result;
    const struct business_day *day = calendar_day_of(&desk->calendar, desk->now);
    desk->today = day != NULL ? calendar_posting_day(&desk->calendar, day) : NULL;
    if (desk->today == NULL)
        faults_refuse(faults, REASON_SCHEME_NOT_OPEN);
    return STORE_OK;
}

/* In the order in which a close takes its locks. */
static enum store_result open_desk(struct payment_desk *desk, struct faults *faults)
{
    struct head head;
    enum store_result result = pg_begin(desk->pg);
    if (result == STORE_OK)
        result = store_head_lock(desk->pg, &desk->arena, desk->scheme->id, &head);
    if (result == STORE_OK && head.reference_version > desk->network->version)
        return STORE_CONFLICT;
    if (result != STORE_OK)
        return result;
    if (desk->key != 0 && snapshot_key(desk->snapshot, desk->key) == NULL)
        faults_refuse(faults, REASON_UNAUTHENTICATED);
    ledger_state_init(&desk->state, &desk->arena, NULL, &head);
    return load_calendar(desk, faults);
}

static enum store_result end_desk(struct payment_desk *desk, const struct payment_order *order)
{
    enum store_result result = ledger_flush(&desk->ledger);
    if (result == STORE_OK && order->view != NULL)
        result = order->view(order->context, desk->pg);
    return result == STORE_OK && !order->dry_run ? pg_commit(desk->pg) : result;
}

static enum store_result attempt(struct payment_desk *desk, const struct payment_order *order,
                                 struct faults *faults)
{
    enum store_result result = open_desk(desk, faults);
    if (result != STORE_OK || faults->count > 0)
        return result;
    ledger_init(&desk->ledger, desk->pg, &desk->arena, desk->network, desk->scheme, &desk->calendar,
                &desk->state, desk->now);
    desk->ledger.at_once = true;
    result = order->work(order->context, desk, faults);
    if (result == STORE_OK && faults->count == 0)
        result = end_desk(desk, order);
    ledger_dispose(&desk->ledger);
    return result;
}

enum store_result payment_desk_run(struct pg *pg, struct snapshot_cache *snapshots,
                                   const struct payment_order *order, struct faults *faults)
{
    enum store_result result = STORE_OK;
    assert(faults->count == 0);
    for (int tries = 0; tries == 0 || retry_is_due(RETRYING_OFFICE, result, tries); tries++) {
        struct payment_desk desk = {.pg = pg, .key = order->key, .now = clock_now()};
        result = snapshot_refresh(snapshots, pg);
        if (result != STORE_OK)
            break;
        faults_init(faults, faults->arena); /* without those of an attempt that lost a race */
        arena_init(&desk.arena, 0);
        desk.snapshot = snapshot_hold(snapshots);
        desk.network = &desk.snapshot->network;
        desk.scheme = desk.network->scheme_by_id[order->scheme];
        result = attempt(&desk, order, faults);
        pg_rollback(pg); /* of what failed, or has faults, and of a dry run */
        snapshot_release(desk.snapshot);
        arena_dispose(&desk.arena);
    }
    if (result == STORE_OUT_OF_RANGE) {
        faults_add(faults, REASON_OUT_OF_RANGE, NULL, "a balance would become too large");
        return STORE_OK;
    }
    return result;
}

static enum store_result post_today(struct payment_desk *desk, const struct posting_facts *facts,
                                    int64_t *entry)
{
    struct draft draft = {
        .business_date = desk->today->date,
        .key = desk->key,
        .occurred_at = desk->now,
    };
    return post_facts(&desk->ledger, facts, &draft, entry);
}

/* --- payments ------------------------------------------------------------------------------------------ */

/* What it moves, and the mirror of its confirmation where that is undone. */
static enum store_result post_change(struct payment_desk *desk, const char *payment_id,
                                     const struct payment *payment, enum entry_kind kind, int64_t *entry)
{
    struct posting_facts facts = {
        .kind = kind,
        .stock_terms = desk->scheme->stock_terms,
        .payer = payment->payer,
        .payee = payment->payee,
        .amount = payment->amount,
    };
    struct leg *confirmed = NULL;
    enum store_result result = STORE_OK;
    if (kind == KIND_PAYMENT_FAILED && payment->status == PAYMENT_CONFIRMED) {
        result = ledger_flush(&desk->ledger); /* it may be of this very transaction */
        if (result == STORE_OK)
            result = store_payment_confirmation(desk->pg, &desk->arena, desk->scheme->id, payment_id,
                                                &confirmed, &facts.reversed_count);
        facts.reversed = confirmed;
    }
    return result == STORE_OK ? post_today(desk, &facts, entry) : result;
}

static enum store_result apply(struct payment_desk *desk, const char *payment_id,
                               const struct payment *payment, enum payment_change change,
                               const struct payment_decision *decision, const char *note)
{
    struct payment_change_row row = {
        .scheme = desk->scheme->id,
        .payment_id = payment_id,
        .status = decision->to,
        .change = change,
        .changed_at = desk->now,
        .key = desk->key,
        .note = note,
    };
    enum store_result result = STORE_OK;
    if (decision->done_before)
        return STORE_OK;
    if (decision->posts != KIND_NONE)
        result = post_change(desk, payment_id, payment, decision->posts, &row.entry);
    return result == STORE_OK ? store_payment_change(desk->pg, &row) : result;
}

/* *reason: why it may not be done; then nothing is. */
static enum store_result change_payment(struct payment_desk *desk, const char *payment_id,
                                        enum payment_change change, const char *note, enum reason *reason)
{
    struct payment payment;
    struct payment_decision decision;
    bool found;
    enum store_result result =
        store_payment(desk->pg, &desk->arena, desk->scheme->id, payment_id, &payment, &found);
    if (result != STORE_OK)
        return result;
    *reason = found ? payment_decide(&payment, change, (struct key_act){desk->key, desk->now},
                                     &desk->snapshot->keys.origins, &decision)
                    : REASON_NOT_FOUND;
    return *reason == REASON_NONE ? apply(desk, payment_id, &payment, change, &decision, note) : STORE_OK;
}

enum store_result payment_desk_change(struct payment_desk *desk, const char *payment_id,
                                      enum payment_change change, const char *note, struct faults *faults)
{
    enum reason reason = REASON_NONE;
    enum store_result result = change_payment(desk, payment_id, change, note, &reason);
    if (result == STORE_OK && reason != REASON_NONE)
        faults_refuse(faults, reason);
    return result;
}

enum store_result payment_desk_approve_day(struct payment_desk *desk, struct date day, const char *note,
                                           struct faults *faults)
{
    const char **ids;
    size_t count, approved = 0;
    bool closed;
    enum reason waiting = REASON_NONE;
    enum store_result result =
        store_payments_computed(desk->pg, &desk->arena, desk->scheme->id, day, &ids, &count, &closed);
    if (result == STORE_OK && !closed)
        faults_refuse(faults, REASON_NOT_FOUND);
    for (size_t i = 0; i < count && result == STORE_OK; i++) {
        enum reason reason = REASON_NONE;
        result = change_payment(desk, ids[i], CHANGE_APPROVE, note, &reason);
        approved += reason == REASON_NONE;
        if (reason == REASON_APPROVER_CLOSED_DAY || reason == REASON_SECOND_KEY_NEEDED)
            waiting = reason;
    }
    if (result == STORE_OK && approved == 0 && waiting != REASON_NONE)
        faults_refuse(faults, waiting);
    return result;
}

/* --- the bank's lines ---------------------------------------------------------------------------------- */

enum store_result payment_desk_bank_line(struct payment_desk *desk, struct money amount, int64_t *entry)
{
    struct posting_facts facts = {
        .kind = KIND_BANK_LINE,
        .stock_terms = desk->scheme->stock_terms,
        .amount = amount,
    };
    return post_today(desk, &facts, entry);
}

enum store_result payment_desk_resolve_line(struct payment_desk *desk, struct money amount,
                                            int32_t participant, enum line_target target, int64_t *entry)
{
    struct posting_facts facts = {
        .kind = KIND_BANK_LINE_RESOLVED,
        .stock_terms = desk->scheme->stock_terms,
        .participant = participant,
        .amount = amount,
        .target = target,
    };
    assert(target == LINE_FOR_SETTLEMENT || target == LINE_FOR_ARREARS);
    return post_today(desk, &facts, entry);
}
