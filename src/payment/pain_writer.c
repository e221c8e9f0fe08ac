/* SPDX-License-Identifier: ISC */
/* The parts that payment files share. This file adds up control sums from the orders that it writes, so that
 * the two cannot differ. */
#include "payment/pain_writer.h"

#include "payment/latin.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* libxml2's calls return a negative number when they fail. */
static void note(struct pain_writer *writer, int result)
{
    writer->failed = writer->failed || result < 0;
}

static const xmlChar *xml_text(const char *text)
{
    return (const xmlChar *)text;
}

void pain_open(struct pain_writer *writer, const char *element)
{
    if (!writer->failed)
        note(writer, xmlTextWriterStartElement(writer->xml, xml_text(element)));
}

void pain_close(struct pain_writer *writer)
{
    if (!writer->failed)
        note(writer, xmlTextWriterEndElement(writer->xml));
}

void pain_text(struct pain_writer *writer, const char *element, const char *text)
{
    if (!writer->failed)
        note(writer, xmlTextWriterWriteElement(writer->xml, xml_text(element), xml_text(text)));
}

void pain_wrapped(struct pain_writer *writer, const char *element, const char *inner, const char *text)
{
    pain_open(writer, element);
    pain_text(writer, inner, text);
    pain_close(writer);
}

void pain_date(struct pain_writer *writer, const char *element, struct date date)
{
    char text[DATE_TEXT_MAX];
    date_format(date, text);
    pain_text(writer, element, text);
}

void pain_name(struct pain_writer *writer, const char *element, const char *name)
{
    char text[LATIN_NAME_SIZE];
    latin_name(name, text);
    pain_wrapped(writer, element, "Nm", text);
}

const struct currency *pain_currency(const struct pain_file *file, const struct pain_order *order)
{
    return order->currency != NULL ? order->currency : file->currency;
}

void pain_instructed(struct pain_writer *writer, const struct pain_order *order)
{
    char text[MONEY_TEXT_MAX];
    const struct currency *currency = pain_currency(writer->file, order);
    money_format(order->amount, currency->decimals, text);
    pain_open(writer, "InstdAmt");
    if (!writer->failed)
        note(writer, xmlTextWriterWriteAttribute(writer->xml, xml_text("Ccy"), xml_text(currency->code)));
    if (!writer->failed)
        note(writer, xmlTextWriterWriteString(writer->xml, xml_text(text)));
    pain_close(writer);
}

void pain_account(struct pain_writer *writer, const char *element, const struct pain_party *party)
{
    pain_open(writer, element);
    pain_open(writer, "Id");
    if (party->iban != NULL)
        pain_text(writer, "IBAN", party->iban);
    else
        pain_wrapped(writer, "Othr", "Id", party->account);
    pain_close(writer);
    pain_close(writer);
}

/* The European guidelines use NOTPROVIDED for an account whose IBAN alone identifies it (from memory). */
void pain_agent(struct pain_writer *writer, const char *element, const struct pain_party *party)
{
    pain_open(writer, element);
    pain_open(writer, "FinInstnId");
    if (party->bic != NULL)
        pain_text(writer, "BICFI", party->bic);
    if (party->bank_code != NULL)
        pain_wrapped(writer, "ClrSysMmbId", "MmbId", party->bank_code);
    if (party->bic == NULL && party->bank_code == NULL)
        pain_wrapped(writer, "Othr", "Id", "NOTPROVIDED");
    pain_close(writer);
    pain_close(writer);
}

void pain_references(struct pain_writer *writer, const struct pain_order *order)
{
    pain_wrapped(writer, "PmtId", "EndToEndId", order->end_to_end);
}

void pain_remittance(struct pain_writer *writer)
{
    pain_wrapped(writer, "RmtInf", "Ustrd", writer->file->purpose);
}

/* The file's own currency, NULL, comes first. */
static int compare_currencies(const struct currency *one, const struct currency *other)
{
    if (one == NULL || other == NULL)
        return one == NULL ? -1 : 1;
    return strcmp(one->code, other->code);
}

static int compare_orders(const void *a, const void *b)
{
    const struct pain_order *one = a, *other = b;
    if (one->due_on.days != other->due_on.days)
        return one->due_on.days < other->due_on.days ? -1 : 1;
    if (one->first != other->first)
        return one->first ? -1 : 1;
    if (one->currency != other->currency)
        return compare_currencies(one->currency, other->currency);
    return strcmp(one->end_to_end, other->end_to_end);
}

static unsigned decimals_of(const struct pain_file *file, size_t first, size_t end)
{
    unsigned decimals = 0;
    for (size_t i = first; i < end; i++)
        if (pain_currency(file, &file->orders[i])->decimals > decimals)
            decimals = pain_currency(file, &file->orders[i])->decimals;
    return decimals;
}

/* A control sum adds up the numbers, irrespective of their currencies. */
static bool sum(const struct pain_file *file, size_t first, size_t end, unsigned decimals,
                struct money *total)
{
    *total = (struct money){0};
    for (size_t i = first; i < end; i++) {
        struct money amount = file->orders[i].amount;
        for (unsigned d = pain_currency(file, &file->orders[i])->decimals; d < decimals; d++)
            if (!money_times(amount, (struct cups){10}, &amount))
                return false;
        if (!money_add(*total, amount, total))
            return false;
    }
    return true;
}

size_t pain_block_end(const struct pain_file *file, size_t first)
{
    size_t end = first + 1;
    while (end < file->count && file->orders[end].due_on.days == file->orders[first].due_on.days &&
           file->orders[end].first == file->orders[first].first &&
           file->orders[end].currency == file->orders[first].currency)
        end++;
    return end;
}

static void add_totals(struct pain_writer *writer, size_t first, size_t end)
{
    char count[24], amount[MONEY_TEXT_MAX];
    struct money total;
    unsigned decimals = decimals_of(writer->file, first, end);
    writer->failed = writer->failed || !sum(writer->file, first, end, decimals, &total);
    if (writer->failed)
        return;
    snprintf(count, sizeof count, "%zu", end - first);
    money_format(total, decimals, amount);
    pain_text(writer, "NbOfTxs", count);
    pain_text(writer, "CtrlSum", amount);
}

/* Asks for single bookings, so that a statement has a line, with its reference, for each payment. */
void pain_open_block(struct pain_writer *writer, const char *method, size_t block, size_t first, size_t end)
{
    char id[REFERENCE_MAX + 1];
    int length = snprintf(id, sizeof id, "%s-%zu", writer->file->message_id, block + 1);
    writer->failed = writer->failed || length >= (int)sizeof id;
    pain_open(writer, "PmtInf");
    pain_text(writer, "PmtInfId", id);
    pain_text(writer, "PmtMtd", method);
    pain_text(writer, "BtchBookg", "false");
    add_totals(writer, first, end);
}

/* The Single Euro Payments Area is for euro between IBANs. Its codes mean nothing elsewhere. Orders in
 * another currency have blocks of their own. */
static bool is_sepa(const struct pain_file *file)
{
    bool sepa = strcmp(file->currency->code, "EUR") == 0 && file->operator.iban != NULL;
    for (size_t i = 0; i < file->count; i++)
        sepa = sepa && (file->orders[i].party.iban != NULL ||
                        pain_currency(file, &file->orders[i]) != file->currency);
    return sepa;
}

static void add_group_header(struct pain_writer *writer)
{
    char created_at[INSTANT_TEXT_MAX];
    instant_format(writer->file->created_at, created_at);
    pain_open(writer, "GrpHdr");
    pain_text(writer, "MsgId", writer->file->message_id);
    pain_text(writer, "CreDtTm", created_at);
    add_totals(writer, 0, writer->file->count);
    pain_name(writer, "InitgPty", writer->file->operator.name);
    pain_close(writer);
}

void pain_begin(struct pain_writer *writer, struct pain_file *file, const char *namespace,
                const char *message)
{
    qsort(file->orders, file->count, sizeof *file->orders, compare_orders);
    *writer = (struct pain_writer){.memory = xmlBufferCreate(), .file = file, .sepa = is_sepa(file)};
    if (writer->memory != NULL)
        writer->xml = xmlNewTextWriterMemory(writer->memory, 0);
    writer->failed = writer->xml == NULL;
    if (writer->failed)
        return;
    note(writer, xmlTextWriterSetIndent(writer->xml, 1));
    note(writer, xmlTextWriterStartDocument(writer->xml, NULL, "UTF-8", NULL));
    note(writer, xmlTextWriterStartElementNS(writer->xml, NULL, xml_text("Document"), xml_text(namespace)));
    pain_open(writer, message);
    add_group_header(writer);
}

bool pain_end(struct pain_writer *writer, struct buffer *xml)
{
    if (writer->xml != NULL)
        note(writer, xmlTextWriterEndDocument(writer->xml));
    xmlFreeTextWriter(writer->xml); /* this also writes the rest into the buffer */
    if (!writer->failed)
        buffer_add(xml, xmlBufferContent(writer->memory), (size_t)xmlBufferLength(writer->memory));
    xmlBufferFree(writer->memory);
    return !writer->failed && !xml->failed;
}
