/* SPDX-License-Identifier: ISC */
/* Changing payments. payment_decide says which changes are allowed; they are posted and stored. */
#include "app/office/payments.h"

#include "depositd/reason.h"
#include "store/payment_store.h"

#include <stdio.h>
#include <string.h>

/* Appends the entry of a change. The failure of a confirmed payment also mirrors the confirmation's legs. */
static enum store_result post_change(struct head_work *work, const char *payment_id,
                                     const struct payment *payment, enum entry_kind kind, struct money booked,
                                     int64_t *entry)
{
    const struct agreed agreed = {.home = work->scheme->id, .host = payment->host, .booked = payment->amount};
    struct posting_facts facts = {
        .kind = kind,
        .stock_terms = work->scheme->stock_terms,
        .payer = payment->payer,
        .payee = payment->payee,
        .amount = booked.minor != 0 ? booked : payment->amount,
        .host = payment->host,
        .agreed = &agreed,
        .agreed_count = payment->host != 0,
    };
    struct leg *confirmed = NULL;
    enum store_result result = STORE_OK;
    if (kind == KIND_PAYMENT_FAILED && payment->status == PAYMENT_CONFIRMED) {
        result = ledger_flush(&work->ledger); /* the confirmation may still wait to be written */
        if (result == STORE_OK)
            result = store_payment_confirmation(work->pg, &work->arena, work->scheme->id, payment_id,
                                                &confirmed, &facts.reversed_count);
        facts.reversed = confirmed;
    }
    return result == STORE_OK ? head_work_post(work, &facts, entry) : result;
}

/* A change that somebody asks for. */
struct asked_change {
    const char *payment_id;
    enum payment_change change;
    struct money booked; /* 0: not stated */
    const char *note;
};

static enum store_result apply(struct head_work *work, const struct asked_change *asked,
                               const struct payment *payment, const struct payment_decision *decision)
{
    struct payment_change_row row = {
        .scheme = work->scheme->id,
        .payment_id = asked->payment_id,
        .status = decision->to,
        .change = asked->change,
        .changed_at = work->now,
        .key = work->key,
        .note = asked->note,
        .booked = asked->booked,
    };
    enum store_result result = STORE_OK;
    if (decision->done_before)
        return STORE_OK;
    if (decision->posts != KIND_NONE)
        result = post_change(work, asked->payment_id, payment, decision->posts, asked->booked, &row.entry);
    return result == STORE_OK ? store_payment_change(work->pg, &row) : result;
}

/* The bank tells what it booked for a payment in another currency. Any other payment is confirmed with its
 * own amount. */
static enum reason check_booked(const struct payment *payment, struct money booked)
{
    if (payment->host != 0 && !payment->in_own_currency)
        return booked.minor > 0 ? REASON_NONE : REASON_MEMBER_MISSING;
    return booked.minor == 0 || booked.minor == payment->amount.minor ? REASON_NONE : REASON_OUT_OF_RANGE;
}

/* *reason says why the change is refused, unless it is REASON_NONE; then nothing was done. */
static enum store_result change_payment(struct head_work *work, const struct asked_change *asked,
                                        enum reason *reason)
{
    struct payment payment;
    struct payment_decision decision;
    bool found;
    enum store_result result =
        store_payment(work->pg, &work->arena, work->scheme->id, asked->payment_id, &payment, &found);
    if (result != STORE_OK)
        return result;
    *reason = found ? payment_decide(&payment, asked->change, (struct key_act){work->key, work->now},
                                     &work->snapshot->keys.origins, &decision)
                    : REASON_NOT_FOUND;
    if (*reason == REASON_NONE && asked->change == CHANGE_CONFIRM && !decision.done_before)
        *reason = check_booked(&payment, asked->booked);
    return *reason == REASON_NONE ? apply(work, asked, &payment, &decision) : STORE_OK;
}

enum store_result payments_change(struct head_work *work, const char *payment_id, enum payment_change change,
                                  const char *note, struct faults *faults)
{
    return payments_change_booked(work, payment_id, change, (struct money){0}, note, faults);
}

enum store_result payments_change_booked(struct head_work *work, const char *payment_id,
                                         enum payment_change change, struct money booked, const char *note,
                                         struct faults *faults)
{
    enum reason reason = REASON_NONE;
    const struct asked_change asked = {payment_id, change, booked, note};
    enum store_result result = change_payment(work, &asked, &reason);
    if (result == STORE_OK && reason != REASON_NONE)
        faults_refuse(faults, reason);
    return result;
}

enum store_result payments_approve_day(struct head_work *work, struct date day, const char *note,
                                       struct faults *faults)
{
    struct computed_payments payments = {0};
    size_t approved = 0;
    enum reason waiting = REASON_NONE;
    enum store_result result =
        store_payments_computed(work->pg, &work->arena, work->scheme->id, day, &payments);
    if (result == STORE_OK && !payments.closed)
        faults_refuse(faults, REASON_NOT_FOUND);
    for (size_t i = 0; i < payments.count && result == STORE_OK; i++) {
        enum reason reason = REASON_NONE;
        const struct asked_change asked = {payments.ids[i], CHANGE_APPROVE, {0}, note};
        result = change_payment(work, &asked, &reason);
        approved += reason == REASON_NONE;
        if (reason == REASON_APPROVER_CLOSED_DAY || reason == REASON_SECOND_KEY_NEEDED)
            waiting = reason;
    }
    if (result == STORE_OK && approved == 0 && waiting != REASON_NONE)
        faults_refuse(faults, waiting);
    return result;
}

static bool is_among(const struct computed_payments *payments, const char *id)
{
    for (size_t i = 0; i < payments->count; i++)
        if (strcmp(payments->ids[i], id) == 0)
            return true;
    return false;
}

static enum store_result approve_named(struct head_work *work, const struct computed_payments *waiting,
                                       const char *id, const char *note, enum reason *reason)
{
    struct payment payment;
    bool found;
    if (is_among(waiting, id))
        return change_payment(work, &(struct asked_change){id, CHANGE_APPROVE, {0}, note}, reason);
    enum store_result result = store_payment(work->pg, &work->arena, work->scheme->id, id, &payment, &found);
    *reason = found ? REASON_PAYMENT_STATE : REASON_PAYMENT_UNKNOWN;
    return result;
}

enum store_result payments_approve_some(struct head_work *work, struct date day, const char *const *ids,
                                        size_t count, const char *note, struct faults *faults)
{
    struct computed_payments waiting = {0};
    char pointer[32];
    enum store_result result =
        store_payments_computed(work->pg, &work->arena, work->scheme->id, day, &waiting);
    if (result == STORE_OK && !waiting.closed)
        faults_refuse(faults, REASON_NOT_FOUND);
    for (size_t i = 0; i < count && waiting.closed && result == STORE_OK; i++) {
        enum reason reason = REASON_NONE;
        result = approve_named(work, &waiting, ids[i], note, &reason);
        snprintf(pointer, sizeof pointer, "/payments/%zu", i);
        if (result == STORE_OK && reason != REASON_NONE)
            faults_add(faults, reason, pointer, "%s", reason_info(reason)->title);
    }
    return result;
}
