/* SPDX-License-Identifier: ISC */
/* Writing the document of a seal. Its bytes are hashed, so the order of the members is fixed: by name. */
#include "app/closing/close_document.h"

const char *close_document_party(const struct network *network, int32_t participant)
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

void close_document_write(const struct close_document *document, struct buffer *text)
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
                      close_document_party(document->network, payment->payer), payment->payment_id,
                      close_document_party(document->network, payment->payee));
    }
    buffer_add_text(text, "],\"positions\":[");
    for (size_t i = 0; i < document->position_count; i++) {
        const struct position_row *position = &document->positions[i];
        buffer_printf(text, "%s{\"amount\":\"", i > 0 ? "," : "");
        amount_text(text, position->amount, decimals);
        buffer_printf(text, "\",\"carried_forward\":%s,\"participant\":\"%s\"}",
                      position->carrying.carried ? "true" : "false",
                      close_document_party(document->network, position->participant));
    }
    buffer_printf(text, "],\"scheme\":\"%s\"}", document->scheme->code);
}
