/* SPDX-License-Identifier: ISC */
/* Credit transfers, a block for each date and currency. An order in another currency than the account's is
 * the standard's InstdAmt in that currency; the bank exchanges it. */
#include "payment/pain001.h"

#include "payment/pain_writer.h"

static void add_transfer(struct pain_writer *writer, const struct pain_order *order)
{
    pain_open(writer, "CdtTrfTxInf");
    pain_references(writer, order);
    pain_open(writer, "Amt");
    pain_instructed(writer, order);
    pain_close(writer);
    if (order->party.bic != NULL || order->party.bank_code != NULL)
        pain_agent(writer, "CdtrAgt", &order->party);
    pain_name(writer, "Cdtr", order->party.name);
    pain_account(writer, "CdtrAcct", &order->party);
    pain_remittance(writer);
    pain_close(writer);
}

static void add_block(struct pain_writer *writer, size_t block, size_t first, size_t end)
{
    const struct pain_file *file = writer->file;
    bool sepa = writer->sepa && pain_currency(file, &file->orders[first]) == file->currency;
    pain_open_block(writer, "TRF", block, first, end);
    if (sepa) {
        pain_open(writer, "PmtTpInf");
        pain_wrapped(writer, "SvcLvl", "Cd", "SEPA");
        pain_close(writer);
    }
    pain_open(writer, "ReqdExctnDt");
    pain_date(writer, "Dt", file->orders[first].due_on);
    pain_close(writer);
    pain_name(writer, "Dbtr", file->operator.name);
    pain_account(writer, "DbtrAcct", &file->operator);
    pain_agent(writer, "DbtrAgt", &file->operator);
    if (sepa)
        pain_text(writer, "ChrgBr", "SLEV");
    for (size_t i = first; i < end; i++)
        add_transfer(writer, &file->orders[i]);
    pain_close(writer);
}

bool pain001_write(struct pain_file *file, struct buffer *xml)
{
    struct pain_writer writer;
    pain_begin(&writer, file, "urn:iso:std:iso:20022:tech:xsd:pain.001.001.09", "CstmrCdtTrfInitn");
    for (size_t first = 0, end, block = 0; first < file->count; first = end, block++) {
        end = pain_block_end(file, first);
        add_block(&writer, block, first, end);
    }
    return pain_end(&writer, xml);
}
