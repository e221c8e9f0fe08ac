/* SPDX-License-Identifier: ISC */
/* The seal of a day: its document, and the chain. */
#include "app/closing/closing.h"

enum { DOCUMENT_BYTES_MAX = 64 << 20 };

const char *close_party(const struct network *network, int32_t participant)
{
    if (participant == 0)
        return "pool";
    bool known = participant > 0 && participant < network->participant_ids &&
                 network->participant_by_id[participant] != NULL;
    return known ? network->participant_by_id[participant]->code : "?";
}

static void amount_text(struct buffer *text, struct money amount, unsigned decimals)
{
    char written[MONEY_TEXT_MAX];
    money_format(amount, decimals, written);
    buffer_add_text(text, written);
}

void close_document(const struct close_document *document, struct buffer *text)
{
    char date[DATE_TEXT_MAX];
    unsigned decimals = document->scheme->currency->decimals;
    date_format(document->date, date);
    buffer_printf(text, "{\"date\":\"%s\",\"entries\":%llu,\"payments\":[", date,
                  (unsigned long long)document->entries);
    for (size_t i = 0; i < document->payment_count; i++) {
        const struct payment_row *payment = &document->payments[i];
        buffer_printf(text, "%s{\"amount\":\"", i > 0 ? "," : "");
        amount_text(text, payment->amount, decimals);
        buffer_printf(text, "\",\"from\":\"%s\",\"payment_id\":\"%s\",\"to\":\"%s\"}",
                      close_party(document->network, payment->payer), payment->payment_id,
                      close_party(document->network, payment->payee));
    }
    buffer_add_text(text, "],\"positions\":[");
    for (size_t i = 0; i < document->position_count; i++) {
        const struct position_row *position = &document->positions[i];
        buffer_printf(text, "%s{\"amount\":\"", i > 0 ? "," : "");
        amount_text(text, position->amount, decimals);
        buffer_printf(text, "\",\"carried_forward\":%s,\"participant\":\"%s\"}",
                      position->carried ? "true" : "false",
                      close_party(document->network, position->participant));
    }
    buffer_printf(text, "],\"scheme\":\"%s\"}", document->scheme->code);
}

enum store_result closing_seal(struct closing *closing)
{
    struct day_counters *day;
    struct buffer text;
    struct settlement_row row = {
        .scheme = closing->scheme->id,
        .date = closing->day->date,
        .closed_at = closing->now,
        .closed_by = closing->order->key,
    };
    enum store_result result = ledger_day(&closing->ledger, row.date, &day);
    if (result == STORE_OK)
        result = store_previous_seal(closing->pg, row.scheme, &row.previous);
    if (result != STORE_OK)
        return result;
    row.entries = day->frontier.leaves;
    frontier_root(&day->frontier, &row.root);
    buffer_init(&text, DOCUMENT_BYTES_MAX);
    close_document(
        &(struct close_document){
            .network = closing->network,
            .scheme = closing->scheme,
            .date = row.date,
            .entries = row.entries,
            .positions = closing->positions,
            .position_count = closing->participant_count,
            .payments = closing->payments,
            .payment_count = closing->payment_count,
        },
        &text);
    if (!text.failed)
        seal_of(&row.previous, &row.root, text.data, text.length, &row.seal);
    result = text.failed ? STORE_FAILED : store_add_settlement(closing->pg, &row);
    buffer_dispose(&text);
    return result;
}
