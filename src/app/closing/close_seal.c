/* SPDX-License-Identifier: ISC */
/* Sealing: the root of the day's tree, the document and the previous seal go into the new one. */
#include "app/closing/close_seal.h"

#include "app/closing/close_document.h"

enum { DOCUMENT_BYTES_MAX = 64 << 20 };

enum store_result close_seal(struct closing *closing)
{
    struct head_work *work = closing->work;
    struct day_counters *day;
    struct buffer text;
    struct settlement_row row = {
        .scheme = work->scheme->id,
        .date = closing->day->date,
        .closed_at = work->now,
        .closed_by = work->key,
    };
    enum store_result result = ledger_day(&work->ledger, row.date, &day);
    if (result == STORE_OK)
        result = store_previous_seal(work->pg, row.scheme, &row.previous);
    if (result != STORE_OK)
        return result;
    row.entries = day->frontier.leaves;
    frontier_root(&day->frontier, &row.root);
    buffer_init(&text, DOCUMENT_BYTES_MAX);
    close_document_write(
        &(struct close_document){
            .network = work->network,
            .scheme = work->scheme,
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
    result = text.failed ? STORE_FAILED : store_add_settlement(work->pg, &row);
    buffer_dispose(&text);
    return result;
}
