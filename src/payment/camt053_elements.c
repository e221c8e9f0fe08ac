/* SPDX-License-Identifier: ISC */
/* The structure of a camt.053. A table says what to do when a statement, a balance, an entry or a transaction
 * begins and ends. An entry that ends becomes lines. */
#include "payment/camt053_elements.h"

#include "base/arena.h"

#include <string.h>

/* Appends a zeroed item to an array of the arena. NULL: out of memory, and a refusal says so. */
static void *append(struct reading *reading, void *array, size_t *count, size_t *capacity, size_t size)
{
    if (!arena_grow(reading->arena, array, *count, capacity, size)) {
        camt053_refuse_memory(reading);
        return NULL;
    }
    char *items;
    memcpy(&items, array, sizeof items);
    return memset(items + size * (*count)++, 0, size);
}

static void begin_statement(struct reading *reading)
{
    struct camt_document *document = reading->document;
    if (document->count == CAMT_STATEMENTS_MAX)
        camt053_refuse(reading, CAMT_TOO_LARGE, "there are more than %d statements", CAMT_STATEMENTS_MAX);
    else
        (void)!append(reading, &document->statements, &document->count, &document->capacity,
                      sizeof *document->statements);
}

static void end_statement(struct reading *reading)
{
    const struct camt_statement *statement = camt053_statement(reading);
    if (statement->id == NULL)
        camt053_refuse_element(reading, "has no Id");
    else if ((statement->iban == NULL) == (statement->account == NULL))
        camt053_refuse_element(reading, "does not name one account, by IBAN or by Othr");
}

static void begin_balance(struct reading *reading)
{
    reading->balance = (struct camt_balance){0};
    reading->balance_amount = (struct signed_amount){0};
    reading->balance_dated = false;
}

static struct money with_sign(const struct signed_amount *amount)
{
    return (struct money){amount->debit ? -amount->size.minor : amount->size.minor};
}

static void end_balance(struct reading *reading)
{
    struct camt_statement *statement = camt053_statement(reading);
    const struct signed_amount *amount = &reading->balance_amount;
    if (reading->balance.code == NULL || !amount->has_amount || !amount->has_sign ||
        !reading->balance_dated) {
        camt053_refuse_element(reading, "lacks its type, amount, sign or date");
        return;
    }
    struct camt_balance *balance = append(reading, &statement->balances, &statement->balance_count,
                                          &statement->balance_capacity, sizeof *statement->balances);
    if (balance == NULL)
        return;
    *balance = reading->balance;
    balance->amount = with_sign(amount);
}

static void begin_entry(struct reading *reading)
{
    /* The room for details is reused. */
    reading->entry = (struct entry){
        .details = reading->entry.details,
        .detail_capacity = reading->entry.detail_capacity,
    };
}

static void begin_detail(struct reading *reading)
{
    struct entry *entry = &reading->entry;
    if (entry->detail_count == CAMT_LINES_MAX)
        camt053_refuse(reading, CAMT_TOO_LARGE, "there are more than %d transactions", CAMT_LINES_MAX);
    else
        (void)!append(reading, &entry->details, &entry->detail_count, &entry->detail_capacity,
                      sizeof *entry->details);
}

static void begin_return(struct reading *reading)
{
    camt053_detail(reading)->returned = true;
}

/* Appends a line with the values that all transactions of the entry share. */
static struct camt_line *append_line(struct reading *reading)
{
    struct camt_statement *statement = camt053_statement(reading);
    const struct entry *entry = &reading->entry;
    if (reading->lines++ == CAMT_LINES_MAX) {
        camt053_refuse(reading, CAMT_TOO_LARGE, "there are more than %d entries", CAMT_LINES_MAX);
        return NULL;
    }
    struct camt_line *line = append(reading, &statement->lines, &statement->line_count,
                                    &statement->line_capacity, sizeof *statement->lines);
    if (line != NULL)
        *line = (struct camt_line){
            .amount = with_sign(&entry->amount),
            .booked = strcmp(entry->status, "BOOK") == 0,
            .returned = entry->reversal,
            .dated = entry->dated,
            .booked_on = entry->booked_on,
            .reference = entry->bank_reference,
            .entry_reference = entry->reference,
            .instructed = entry->instructed,
        };
    return line;
}

static void add_detail(struct reading *reading, const struct detail *detail, int32_t part,
                       const struct money *amount)
{
    struct camt_line *line = append_line(reading);
    if (line == NULL)
        return;
    bool has_reference = detail->end_to_end != NULL && strcmp(detail->end_to_end, "NOTPROVIDED") != 0;
    line->part = part;
    line->returned = line->returned || detail->returned;
    line->return_reason = detail->return_reason;
    line->end_to_end = has_reference ? detail->end_to_end : NULL;
    if (detail->reference != NULL)
        line->reference = detail->reference;
    if (detail->has_instructed || reading->entry.detail_count > 1)
        line->instructed = detail->instructed;
    if (amount != NULL)
        line->amount = *amount;
}

/* Finds the amount that a transaction moved on the account. False: no amount is given in the account's
 * currency. */
static bool detail_amount(const struct entry *entry, const struct detail *detail, struct money *amount)
{
    const struct signed_amount *said = detail->amount.has_amount ? &detail->amount : &detail->transaction;
    if (!said->has_amount || said->other_currency)
        return false;
    bool debit = detail->amount.has_sign ? detail->amount.debit : entry->amount.debit;
    amount->minor = debit ? -said->size.minor : said->size.minor;
    return true;
}

static bool details_add_up(const struct entry *entry)
{
    struct money sum = {0}, amount;
    for (size_t i = 0; i < entry->detail_count; i++)
        if (!detail_amount(entry, &entry->details[i], &amount) || !money_add(sum, amount, &sum))
            return false;
    return sum.minor == with_sign(&entry->amount).minor;
}

static void split_entry(struct reading *reading)
{
    const struct entry *entry = &reading->entry;
    struct money amount;
    for (size_t i = 0; i < entry->detail_count; i++)
        if (detail_amount(entry, &entry->details[i], &amount))
            add_detail(reading, &entry->details[i], (int32_t)i, &amount);
}

static void end_entry(struct reading *reading)
{
    const struct entry *entry = &reading->entry;
    if (entry->status == NULL || !entry->amount.has_amount || !entry->amount.has_sign) {
        camt053_refuse_element(reading, "lacks its amount, sign or status");
    } else if (entry->detail_count == 1) {
        /* The amount that the account was moved by counts, even if charges were deducted on the way. */
        add_detail(reading, &entry->details[0], 0, NULL);
    } else if (entry->detail_count > 1 && details_add_up(entry)) {
        split_entry(reading);
    } else {
        struct camt_line *line = append_line(reading);
        if (line != NULL)
            line->unsplit = entry->detail_count > 1;
    }
}

static const struct {
    const char *path;
    void (*begin)(struct reading *reading);
    void (*end)(struct reading *reading);
} structures[] = {
    {CAMT053_ROOT "Stmt", begin_statement, end_statement},
    {CAMT053_STATEMENT "Bal", begin_balance, end_balance},
    {CAMT053_STATEMENT "Ntry", begin_entry, end_entry},
    {CAMT053_ENTRY "NtryDtls/TxDtls", begin_detail, NULL},
    {CAMT053_DETAIL "RtrInf", begin_return, NULL},
};

void camt053_begin(struct reading *reading)
{
    for (size_t i = 0; i < sizeof structures / sizeof structures[0]; i++)
        if (strcmp(structures[i].path, reading->path) == 0)
            structures[i].begin(reading);
}

void camt053_end(struct reading *reading)
{
    for (size_t i = 0; i < sizeof structures / sizeof structures[0]; i++)
        if (structures[i].end != NULL && strcmp(structures[i].path, reading->path) == 0)
            structures[i].end(reading);
}
