/* SPDX-License-Identifier: ISC */
/* Making a payment file, in one transaction under the head row: read the approved payments, check that the
 * bank can be told, write the message, instruct the payments, keep the bytes. */
#include "app/office/payment_file.h"

#include "app/office/payments.h"
#include "payment/iban.h"
#include "payment/latin.h"
#include "payment/pain001.h"
#include "payment/pain008.h"
#include "store/bank_store.h"

#include <stdio.h>
#include <string.h>

enum { FILE_MAX_BYTES = 32 << 20, PURPOSE_SIZE = 64, ACCOUNT_LENGTH = 34, US_PER_S = 1000000 };

struct making {
    const struct payment_file_order *order;
    struct head_work *work;
    struct faults *faults;
    struct bank_operator bank_operator;
    struct bank_orders orders;
};

static void blame(struct making *making, enum reason reason, const char *whose, const char *what)
{
    faults_add(making->faults, reason, "", "%s %s", whose, what);
}

static void miss(struct making *making, const char *whose, const char *what)
{
    blame(making, REASON_BANK_DETAILS_MISSING, whose, what);
}

/* Reference data are checked when they change. Older data may have values that would be refused today. */
static bool can_be_named(const struct bank_party *party)
{
    if (party->iban != NULL)
        return iban_check(party->iban) == IBAN_OK;
    return latin_reference_valid(party->account, ACCOUNT_LENGTH) && party->bank_code != NULL &&
           latin_reference_valid(party->bank_code, REFERENCE_MAX);
}

static void check_party(struct making *making, const char *whose, const struct bank_party *party)
{
    if (party->iban == NULL && party->account == NULL)
        miss(making, whose, "has no bank account");
    else if (!can_be_named(party))
        miss(making, whose, "has a bank account that no payment message can carry");
}

static void check_operator(struct making *making)
{
    const struct bank_operator *bank_operator = &making->bank_operator;
    if (bank_operator->party.name == NULL)
        miss(making, "the scheme", "has no operator");
    else
        check_party(making, "the operator", &bank_operator->party);
    if (making->order->collections && bank_operator->party.name != NULL &&
        (bank_operator->creditor_id == NULL ||
         !latin_reference_valid(bank_operator->creditor_id, REFERENCE_MAX)))
        miss(making, "the operator", "has no creditor_id that a payment message can carry");
}

/* A payout must go to the account that the close looked at when it decided whether to hold the payout.
 * Changing the account after the close would be a way to steal. */
static void check_order(struct making *making, const struct bank_order *order)
{
    check_party(making, order->participant, &order->party);
    if (order->account_changed)
        blame(making, REASON_BANK_ACCOUNT_CHANGED, order->participant,
              "has another bank account than at the close: let the payment fail, and the next close hold it");
    if (making->order->collections &&
        (order->mandate_id == NULL || !latin_reference_valid(order->mandate_id, REFERENCE_MAX)))
        miss(making, order->participant, "has no mandate that a payment message can carry");
}

static enum store_result read_orders(struct making *making)
{
    struct head_work *work = making->work;
    enum store_result result =
        store_bank_operator(work->pg, &work->arena, work->scheme->id, &making->bank_operator);
    if (result == STORE_OK)
        result = store_bank_orders(work->pg, &work->arena, work->scheme->id, making->order->day,
                                   making->order->collections, &making->orders);
    if (result != STORE_OK)
        return result;
    if (!making->orders.closed)
        faults_add(making->faults, REASON_NOT_FOUND, NULL, "%s", "that day is not closed");
    else if (making->orders.count == 0)
        faults_add(making->faults, REASON_NOTHING_APPROVED, NULL,
                   "no %s of the day are approved and in no file",
                   making->order->collections ? "collections" : "payouts");
    else
        check_operator(making);
    for (size_t i = 0; i < making->orders.count; i++)
        check_order(making, &making->orders.items[i]);
    return STORE_OK;
}

static struct pain_party pain_party_of(const struct bank_party *party)
{
    return (struct pain_party){party->name, party->iban, party->account, party->bank_code, party->bic};
}

/* NULL: no memory. */
static struct pain_order *pain_orders(struct making *making)
{
    struct pain_order *orders = arena_array(&making->work->arena, making->orders.count, sizeof *orders);
    for (size_t i = 0; i < making->orders.count && orders != NULL; i++) {
        const struct bank_order *order = &making->orders.items[i];
        orders[i] = (struct pain_order){
            .end_to_end = order->payment_id,
            .amount = order->instructed,
            .due_on = order->due_on,
            .party = pain_party_of(&order->party),
            .mandate_id = order->mandate_id,
            .mandate_signed_on = order->mandate_signed_on,
            .first = making->order->collections && order->first,
            .currency = order->currency != making->work->scheme->currency ? order->currency : NULL,
        };
    }
    return orders;
}

/* The id of the message is that of the file without dashes. That leaves room for the blocks' numbers. */
static void make_message_id(struct making *making, char text[static PAIN_MESSAGE_ID_MAX + 1])
{
    char id[UUID_TEXT_MAX];
    uuid_format(making->order->file_id, id);
    for (const char *at = id; *at != '\0'; at++)
        if (*at != '-')
            *text++ = *at;
    *text = '\0';
}

static enum store_result keep_file(struct making *making, const struct pain_file *file,
                                   const struct buffer *xml)
{
    struct head_work *work = making->work;
    struct payment_file_row row = {
        .scheme = work->scheme->id,
        .file_id = *making->order->file_id,
        .day = making->order->day,
        .collections = making->order->collections,
        .message_id = file->message_id,
        .created_at = file->created_at,
        .key = making->order->key,
        .content = xml->data,
        .length = xml->length,
        .payment_ids = arena_array(&work->arena, making->orders.count, sizeof *row.payment_ids),
        .mandates = arena_array(&work->arena, making->orders.count, sizeof *row.mandates),
        .count = making->orders.count,
    };
    if (row.payment_ids == NULL || row.mandates == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < making->orders.count; i++) {
        row.payment_ids[i] = making->orders.items[i].payment_id;
        row.mandates[i] = making->order->collections ? making->orders.items[i].mandate_id : NULL;
        if (!money_add(row.total, making->orders.items[i].amount, &row.total))
            return STORE_OUT_OF_RANGE;
    }
    sha256_of(xml->data, xml->length, &row.hash);
    return store_add_file(work->pg, &row);
}

static enum store_result write_file(struct making *making)
{
    struct head_work *work = making->work;
    char message_id[PAIN_MESSAGE_ID_MAX + 1], purpose[PURPOSE_SIZE], day[DATE_TEXT_MAX];
    struct buffer xml;
    *making->order->file_id = making->bank_operator.new_id;
    make_message_id(making, message_id);
    date_format(making->order->day, day);
    snprintf(purpose, sizeof purpose, "%s %s", work->scheme->code, day);
    struct pain_file file = {
        .message_id = message_id,
        .created_at = {work->now.us - work->now.us % US_PER_S},
        .currency = work->scheme->currency,
        .operator= pain_party_of(&making->bank_operator.party),
        .creditor_id = making->bank_operator.creditor_id,
        .purpose = purpose,
        .orders = pain_orders(making),
        .count = making->orders.count,
    };
    if (file.orders == NULL)
        return STORE_FAILED;
    buffer_init(&xml, FILE_MAX_BYTES);
    bool written = making->order->collections ? pain008_write(&file, &xml) : pain001_write(&file, &xml);
    enum store_result result = written ? keep_file(making, &file, &xml) : STORE_FAILED;
    buffer_dispose(&xml);
    return result;
}

static enum store_result make(void *context, struct head_work *work, struct faults *faults)
{
    struct making *making = context;
    making->work = work;
    making->faults = faults;
    enum store_result result = read_orders(making);
    if (result != STORE_OK || faults->count > 0)
        return result;
    result = write_file(making);
    for (size_t i = 0; i < making->orders.count && result == STORE_OK && faults->count == 0; i++)
        result = payments_change(work, making->orders.items[i].payment_id, CHANGE_INSTRUCT, NULL, faults);
    return result;
}

static enum store_result view(void *context, struct pg *pg)
{
    const struct making *making = context;
    char hash[SHA256_HEX_MAX];
    bool found;
    buffer_reset(making->order->json);
    enum store_result result = read_file(pg, making->order->file_id, making->order->json, NULL, hash, &found);
    return result == STORE_OK && !found ? STORE_FAILED : result;
}

enum store_result payment_file_make(struct pg *pg, struct snapshot_cache *snapshots,
                                    const struct payment_file_order *order, struct faults *faults)
{
    struct making making = {.order = order};
    const struct head_order under_head = {
        .scheme = order->scheme,
        .key = order->key,
        .dry_run = order->dry_run,
        .posts_now = true,
        .work = make,
        .view = view,
        .context = &making,
    };
    return head_work_run(pg, snapshots, &under_head, faults);
}
