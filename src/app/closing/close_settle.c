/* SPDX-License-Identifier: ISC */
/* The figures of a close: fees, positions and which of them wait, settle entries, payments. */
#include "app/closing/close_settle.h"

#include "app/closing/close_between.h"
#include "app/closing/close_document.h"
#include "app/closing/close_fees.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

enum { ID_BYTES = 16 };

static struct position_row *position_of(const struct closing *closing, int32_t participant)
{
    return &closing->positions[closing->participant_index[participant]];
}

static bool has_open_site(const struct closing *closing, int32_t participant)
{
    for (size_t i = 0; i < closing->site_count; i++)
        if (closing->sites[i].participant == participant && closing->sites[i].open)
            return true;
    return false;
}

static void decide_carrying(const struct closing *closing, size_t at)
{
    const struct closing_participant *participant = &closing->participants[at];
    struct position_row *row = &closing->positions[at];
    struct position position = {
        .amount = row->amount,
        .arrears = row->arrears,
        .was_small = participant->was_small,
        .small_since = participant->small_since,
        .has_open_site = has_open_site(closing, participant->participant),
    };
    row->carrying =
        position_carrying(&position, closing->day->date, closing->terms, closing->work->scheme->carry_days);
}

static enum store_result find_positions(struct closing *closing)
{
    closing->positions =
        arena_array(&closing->work->arena, closing->participant_count + 1, sizeof *closing->positions);
    if (closing->positions == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < closing->participant_count; i++)
        closing->positions[i] = (struct position_row){
            .participant = closing->participants[i].participant,
            .amount = closing->participants[i].arrears,
            .arrears = closing->participants[i].arrears,
        };
    for (size_t i = 0; i < closing->site_count; i++) {
        struct position_row *row = position_of(closing, closing->sites[i].participant);
        if (!money_add(row->amount, closing->sites[i].clearing, &row->amount))
            return STORE_OUT_OF_RANGE;
    }
    for (size_t i = 0; i < closing->participant_count; i++)
        decide_carrying(closing, i);
    return STORE_OK;
}

static enum store_result post_settling(struct closing *closing, int32_t site, int32_t participant,
                                       struct money clearing, struct money arrears)
{
    struct posting_facts facts = {
        .kind = KIND_SETTLE,
        .stock_terms = closing->work->scheme->stock_terms,
        .site = site,
        .participant = participant,
        .clearing = clearing,
        .arrears = arrears,
    };
    struct draft draft = {.business_date = closing->day->date, .occurred_at = closing_instant(closing)};
    return closing_post(closing, &draft, &facts);
}

static enum store_result settle(struct closing *closing)
{
    enum store_result result = STORE_OK;
    struct money none = {0};
    for (size_t i = 0; i < closing->site_count && result == STORE_OK; i++) {
        const struct closing_site *site = &closing->sites[i];
        if (!position_of(closing, site->participant)->carrying.carried)
            result = post_settling(closing, site->site, site->participant, site->clearing, none);
    }
    for (size_t i = 0; i < closing->participant_count && result == STORE_OK; i++)
        if (!closing->positions[i].carrying.carried)
            result = post_settling(closing, 0, closing->positions[i].participant, none,
                                   closing->positions[i].arrears);
    return result;
}

/* The id is half a SHA-256 of scheme, day and parties, in hexadecimal: a repeated close gives the same. */
static void name_payment(const struct closing *closing, struct payment_row *payment)
{
    const struct head_work *work = closing->work;
    char date[DATE_TEXT_MAX], hex[SHA256_HEX_MAX];
    struct buffer text;
    struct sha256 digest;
    date_format(closing->day->date, date);
    buffer_init(&text, 1024);
    buffer_printf(&text, "%s %s %s ", work->scheme->code, date,
                  close_document_party(work->network, payment->payer));
    close_document_payee(work->network, payment, &text);
    sha256_of(text.data, text.length, &digest);
    buffer_dispose(&text);
    sha256_hex(&digest, hex);
    memcpy(payment->payment_id, hex, 2 * (size_t)ID_BYTES);
    payment->payment_id[2 * ID_BYTES] = '\0';
}

/* The reason why a payout waits for a person; NULL: it does not wait. A changed account is named before any
 * other reason. If it were not named, the account would count as known, and the next payout to it would not
 * wait. */
static const char *held(const struct closing *closing, int32_t payee)
{
    if (payee == 0)
        return NULL;
    const struct closing_participant *participant = &closing->participants[closing->participant_index[payee]];
    if (participant->bank_account_changed)
        return "bank_account_changed";
    bool over = closing->work->scheme->variance_limited &&
                participant->exceptions.minor > closing->work->scheme->variance_limit.minor;
    if (over)
        return "variance_limit";
    return participant->first_payout ? "first_payout" : NULL;
}

static int compare_payments(const void *a, const void *b)
{
    return strcmp(((const struct payment_row *)a)->payment_id, ((const struct payment_row *)b)->payment_id);
}

static enum store_result find_payments(struct closing *closing)
{
    struct head_work *work = closing->work;
    size_t count = closing->participant_count;
    struct money *settled = arena_array(&work->arena, count + 1, sizeof *settled);
    struct netting_payment *netted = arena_array(&work->arena, count + 1, sizeof *netted);
    closing->payments =
        arena_array(&work->arena, count + closing->pool_payment_count + 1, sizeof *closing->payments);
    if (settled == NULL || netted == NULL || closing->payments == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < count; i++)
        if (!closing->positions[i].carrying.carried)
            settled[i] = closing->positions[i].amount;
    enum netting_result result =
        settlement_payments(closing->terms->netting, settled, count, netted, &closing->payment_count);
    if (result != NETTING_OK)
        return result == NETTING_NO_MEMORY ? STORE_FAILED : STORE_OUT_OF_RANGE;
    for (size_t i = 0; i < closing->payment_count; i++) {
        struct payment_row *payment = &closing->payments[i];
        payment->payer = netted[i].from < count ? closing->positions[netted[i].from].participant : 0;
        payment->payee = netted[i].to < count ? closing->positions[netted[i].to].participant : 0;
        payment->amount = netted[i].amount;
        payment->held = held(closing, payment->payee);
        name_payment(closing, payment);
    }
    closing->netted_count = closing->payment_count;
    for (size_t i = 0; i < closing->pool_payment_count; i++) {
        name_payment(closing, &closing->pool_payments[i]);
        closing->payments[closing->payment_count++] = closing->pool_payments[i];
    }
    return STORE_OK;
}

/* The order of the seal. */
static void sort_payments(struct closing *closing)
{
    qsort(closing->payments, closing->payment_count, sizeof *closing->payments, compare_payments);
}

static enum store_result store_figures(struct closing *closing)
{
    struct head_work *work = closing->work;
    int32_t scheme = work->scheme->id;
    struct date date = closing->day->date, *holidays;
    size_t holiday_count;
    enum store_result result =
        store_add_positions(work->pg, scheme, date, closing->positions, closing->participant_count);
    if (result == STORE_OK)
        result = store_holidays(work->pg, &work->arena, scheme, date, &holidays, &holiday_count);
    if (result != STORE_OK)
        return result;
    struct date due_on = payment_due_on(date, holidays, holiday_count);
    if (closing->netted_count > 0)
        result = store_add_payments(work->pg, scheme, date, due_on, closing->payments, closing->netted_count);
    if (result == STORE_OK && closing->pool_payment_count > 0)
        result = store_add_pool_payments(work->pg, scheme, date, due_on, closing->pool_payments,
                                         closing->pool_payment_count);
    sort_payments(closing);
    return result;
}

enum store_result close_settle(struct closing *closing)
{
    enum store_result result = close_fees(closing);
    if (result == STORE_OK)
        result = find_positions(closing);
    if (result == STORE_OK)
        result = settle(closing);
    if (result == STORE_OK)
        result = close_between(closing);
    if (result == STORE_OK)
        result = find_payments(closing);
    return result == STORE_OK ? store_figures(closing) : result;
}
