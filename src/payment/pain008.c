/* SPDX-License-Identifier: ISC */
/* Direct debits, with a block for each date and use of the mandates. Within the euro area they use the CORE
 * scheme: a business may be debited by either scheme, a consumer only by this scheme (from memory). */
#include "payment/pain008.h"

#include "payment/pain_writer.h"

/* The creditor's id, which its bank's scheme has given it. */
static void add_creditor_id(struct pain_writer *writer)
{
    pain_open(writer, "CdtrSchmeId");
    pain_open(writer, "Id");
    pain_open(writer, "PrvtId");
    pain_open(writer, "Othr");
    pain_text(writer, "Id", writer->file->creditor_id);
    if (writer->sepa)
        pain_wrapped(writer, "SchmeNm", "Prtry", "SEPA");
    for (int i = 0; i < 4; i++)
        pain_close(writer);
}

static void add_collection(struct pain_writer *writer, const struct pain_order *order)
{
    pain_open(writer, "DrctDbtTxInf");
    pain_references(writer, order);
    pain_instructed(writer, order);
    pain_open(writer, "DrctDbtTx");
    pain_open(writer, "MndtRltdInf");
    pain_text(writer, "MndtId", order->mandate_id);
    pain_date(writer, "DtOfSgntr", order->mandate_signed_on);
    pain_close(writer);
    pain_close(writer);
    pain_agent(writer, "DbtrAgt", &order->party);
    pain_name(writer, "Dbtr", order->party.name);
    pain_account(writer, "DbtrAcct", &order->party);
    pain_remittance(writer);
    pain_close(writer);
}

static void add_payment_type(struct pain_writer *writer, bool first_use)
{
    pain_open(writer, "PmtTpInf");
    if (writer->sepa) {
        pain_wrapped(writer, "SvcLvl", "Cd", "SEPA");
        pain_wrapped(writer, "LclInstrm", "Cd", "CORE");
    }
    pain_text(writer, "SeqTp", first_use ? "FRST" : "RCUR");
    pain_close(writer);
}

static void add_block(struct pain_writer *writer, size_t block, size_t first, size_t end)
{
    const struct pain_file *file = writer->file;
    pain_open_block(writer, "DD", block, first, end);
    add_payment_type(writer, file->orders[first].first);
    pain_date(writer, "ReqdColltnDt", file->orders[first].due_on);
    pain_name(writer, "Cdtr", file->operator.name);
    pain_account(writer, "CdtrAcct", &file->operator);
    pain_agent(writer, "CdtrAgt", &file->operator);
    if (writer->sepa)
        pain_text(writer, "ChrgBr", "SLEV");
    add_creditor_id(writer);
    for (size_t i = first; i < end; i++)
        add_collection(writer, &file->orders[i]);
    pain_close(writer);
}

bool pain008_write(struct pain_file *file, struct buffer *xml)
{
    struct pain_writer writer;
    pain_begin(&writer, file, "urn:iso:std:iso:20022:tech:xsd:pain.008.001.08", "CstmrDrctDbtInitn");
    for (size_t first = 0, end, block = 0; first < file->count; first = end, block++) {
        end = pain_block_end(file, first);
        add_block(&writer, block, first, end);
    }
    return pain_end(&writer, xml);
}
