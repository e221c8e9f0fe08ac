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

static const struct scheme *scheme_of(const struct network *network, int32_t scheme)
{
    return scheme > 0 && scheme < network->scheme_ids ? network->scheme_by_id[scheme] : NULL;
}

void close_document_payee(const struct network *network, const struct payment_row *payment,
                          struct buffer *text)
{
    const struct scheme *host = scheme_of(network, payment->host);
    if (payment->host == 0)
        buffer_add_text(text, close_document_party(network, payment->payee));
    else
        buffer_printf(text, "pool/%s", host != NULL ? host->code : "?");
}

static void amount_text(struct buffer *text, struct money amount, unsigned decimals)
{
    char written[MONEY_TEXT_MAX];
    money_format(amount, decimals, written);
    buffer_add_text(text, written);
}

/* A payment to another pool is instructed in the agreed currency. */
static void write_agreed(const struct close_document *document, const struct payment_row *payment,
                         struct buffer *text)
{
    const struct scheme *host = scheme_of(document->network, payment->host);
    const struct scheme *agreed = payment->in_host_currency && host != NULL ? host : document->scheme;
    buffer_add_text(text, "\"agreed\":{\"amount\":\"");
    amount_text(text, payment->agreed, agreed->currency->decimals);
    buffer_printf(text, "\",\"currency\":\"%s\"},", agreed->currency->code);
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
        buffer_add_text(text, i > 0 ? ",{" : "{");
        if (payment->host != 0)
            write_agreed(document, payment, text);
        buffer_add_text(text, "\"amount\":\"");
        amount_text(text, payment->amount, decimals);
        buffer_printf(text, "\",\"from\":\"%s\",\"payment_id\":\"%s\",\"to\":\"",
                      close_document_party(document->network, payment->payer), payment->payment_id);
        close_document_payee(document->network, payment, text);
        buffer_add_text(text, "\"}");
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
