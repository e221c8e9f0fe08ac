/* SPDX-License-Identifier: ISC */
/* The meaning of the elements of a camt.053, by their paths. Tables say what to do when an element begins,
 * when an element with a text ends, and when an element with elements ends. */
#include "payment/camt053_elements.h"

#include "base/arena.h"

#include <string.h>

#define ROOT "Document/BkToCstmrStmt/"

enum {
    REFERENCE_LENGTH = 35, /* Max35Text */
    ACCOUNT_LENGTH = 34,   /* Max34Text */
    DIGITS_MAX = 18        /* of an amount, according to the schema */
};

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

static struct camt_statement *statement_at_hand(struct reading *reading)
{
    return &reading->document->statements[reading->document->count - 1];
}

static struct detail *detail_at_hand(struct reading *reading)
{
    return &reading->entry.details[reading->entry.detail_count - 1];
}

/* ---- texts ---- */

static void keep(struct reading *reading, const char **into, const char *text, size_t max)
{
    size_t characters = 0;
    for (const char *at = text; *at != '\0'; at++)
        characters += (*at & 0xC0) != 0x80;
    if (*into != NULL)
        camt053_refuse_element(reading, "stands twice");
    else if (characters < 1 || characters > max)
        camt053_refuse_element(reading, "is empty or too long");
    else if ((*into = arena_copy(reading->arena, text, strlen(text))) == NULL)
        camt053_refuse_memory(reading);
}

static void keep_reference(struct reading *reading, const char **into, const char *text)
{
    keep(reading, into, text, REFERENCE_LENGTH);
}

/* xs:decimal, not negative; extra zeros after the currency's decimals are allowed. */
static bool read_size(const char *text, unsigned decimals, struct money *size)
{
    int64_t value = 0;
    unsigned digits = 0, fraction = 0;
    bool point = false;
    text += *text == '+';
    for (; *text != '\0'; text++) {
        if (*text == '.' && !point) {
            point = true;
        } else if (*text < '0' || *text > '9' || ++digits > DIGITS_MAX) {
            return false;
        } else if (point && fraction == decimals) {
            if (*text != '0')
                return false;
        } else {
            value = value * 10 + (*text - '0');
            fraction += point;
        }
    }
    for (; fraction < decimals; fraction++)
        if (__builtin_mul_overflow(value, 10, &value))
            return false;
    *size = (struct money){value};
    return digits > 0;
}

static void keep_amount(struct reading *reading, struct signed_amount *into, const char *text)
{
    if (into->has_amount)
        camt053_refuse_element(reading, "stands twice");
    else if (!reading->other_currency && !read_size(text, reading->currency->decimals, &into->size))
        camt053_refuse_element(reading, "is no amount of the scheme's currency");
    into->has_amount = true;
    into->other_currency = reading->other_currency;
}

static void keep_own_amount(struct reading *reading, struct signed_amount *into, const char *text)
{
    keep_amount(reading, into, text);
    if (into->other_currency)
        camt053_refuse(reading, CAMT_CURRENCY, "Amt is not in %s, the scheme's currency",
                       reading->currency->code);
}

static void keep_sign(struct reading *reading, struct signed_amount *into, const char *text)
{
    if (into->has_sign)
        camt053_refuse_element(reading, "stands twice");
    else if (strcmp(text, "CRDT") != 0 && strcmp(text, "DBIT") != 0)
        camt053_refuse_element(reading, "is neither CRDT nor DBIT");
    into->has_sign = true;
    into->debit = strcmp(text, "DBIT") == 0;
}

/* xs:date or xs:dateTime: keeps the day as it is written. */
static void keep_date(struct reading *reading, bool *dated, struct date *date, const char *text)
{
    enum { DATE_LENGTH = 10 };
    bool valid = strlen(text) >= DATE_LENGTH && date_parse(text, DATE_LENGTH, date) &&
                 strchr("TZ+-", text[DATE_LENGTH]) != NULL;
    if (*dated)
        camt053_refuse_element(reading, "stands twice");
    else if (!valid)
        camt053_refuse_element(reading, "is no date");
    *dated = true;
}

/* ---- elements with a text ---- */

static void take_message_id(struct reading *reading, const char *text)
{
    keep_reference(reading, &reading->document->message_id, text);
}

static void take_statement_id(struct reading *reading, const char *text)
{
    keep_reference(reading, &statement_at_hand(reading)->id, text);
}

static void take_iban(struct reading *reading, const char *text)
{
    keep(reading, &statement_at_hand(reading)->iban, text, ACCOUNT_LENGTH);
}

static void take_account(struct reading *reading, const char *text)
{
    keep(reading, &statement_at_hand(reading)->account, text, ACCOUNT_LENGTH);
}

static void take_account_currency(struct reading *reading, const char *text)
{
    keep_reference(reading, &statement_at_hand(reading)->currency, text);
    if (strcmp(text, reading->currency->code) != 0)
        camt053_refuse(reading, CAMT_CURRENCY, "the account is not in %s, the scheme's currency",
                       reading->currency->code);
}

static void take_balance_code(struct reading *reading, const char *text)
{
    keep_reference(reading, &reading->balance.code, text);
}

static void take_balance_amount(struct reading *reading, const char *text)
{
    keep_own_amount(reading, &reading->balance_amount, text);
}

static void take_balance_sign(struct reading *reading, const char *text)
{
    keep_sign(reading, &reading->balance_amount, text);
}

static void take_balance_date(struct reading *reading, const char *text)
{
    keep_date(reading, &reading->balance_dated, &reading->balance.on, text);
}

static void take_entry_reference(struct reading *reading, const char *text)
{
    keep_reference(reading, &reading->entry.reference, text);
}

static void take_bank_reference(struct reading *reading, const char *text)
{
    keep_reference(reading, &reading->entry.bank_reference, text);
}

static void take_entry_amount(struct reading *reading, const char *text)
{
    keep_own_amount(reading, &reading->entry.amount, text);
}

static void take_entry_sign(struct reading *reading, const char *text)
{
    keep_sign(reading, &reading->entry.amount, text);
}

static void take_status(struct reading *reading, const char *text)
{
    keep_reference(reading, &reading->entry.status, text);
}

static void take_booked_on(struct reading *reading, const char *text)
{
    keep_date(reading, &reading->entry.dated, &reading->entry.booked_on, text);
}

static void take_reversal(struct reading *reading, const char *text)
{
    reading->entry.reversal = strcmp(text, "true") == 0 || strcmp(text, "1") == 0;
    if (!reading->entry.reversal && strcmp(text, "false") != 0 && strcmp(text, "0") != 0)
        camt053_refuse_element(reading, "is neither true nor false");
}

static void take_end_to_end(struct reading *reading, const char *text)
{
    keep_reference(reading, &detail_at_hand(reading)->end_to_end, text);
}

static void take_detail_reference(struct reading *reading, const char *text)
{
    keep_reference(reading, &detail_at_hand(reading)->reference, text);
}

static void take_detail_amount(struct reading *reading, const char *text)
{
    keep_amount(reading, &detail_at_hand(reading)->amount, text);
}

static void take_detail_sign(struct reading *reading, const char *text)
{
    keep_sign(reading, &detail_at_hand(reading)->amount, text);
}

static void take_transaction_amount(struct reading *reading, const char *text)
{
    keep_amount(reading, &detail_at_hand(reading)->transaction, text);
}

static void take_return_reason(struct reading *reading, const char *text)
{
    keep_reference(reading, &detail_at_hand(reading)->return_reason, text);
}

#define STATEMENT ROOT "Stmt/"
#define ENTRY     STATEMENT "Ntry/"
#define DETAIL    ENTRY "NtryDtls/TxDtls/"

static const struct {
    const char *path;
    void (*take)(struct reading *reading, const char *text);
} texts[] = {
    {ROOT "GrpHdr/MsgId", take_message_id},
    {STATEMENT "Id", take_statement_id},
    {STATEMENT "Acct/Id/IBAN", take_iban},
    {STATEMENT "Acct/Id/Othr/Id", take_account},
    {STATEMENT "Acct/Ccy", take_account_currency},
    {STATEMENT "Bal/Tp/CdOrPrtry/Cd", take_balance_code},
    {STATEMENT "Bal/Tp/CdOrPrtry/Prtry", take_balance_code},
    {STATEMENT "Bal/Amt", take_balance_amount},
    {STATEMENT "Bal/CdtDbtInd", take_balance_sign},
    {STATEMENT "Bal/Dt/Dt", take_balance_date},
    {STATEMENT "Bal/Dt/DtTm", take_balance_date},
    {ENTRY "NtryRef", take_entry_reference},
    {ENTRY "AcctSvcrRef", take_bank_reference},
    {ENTRY "Amt", take_entry_amount},
    {ENTRY "CdtDbtInd", take_entry_sign},
    {ENTRY "RvslInd", take_reversal},
    {ENTRY "Sts/Cd", take_status},
    {ENTRY "Sts/Prtry", take_status},
    {ENTRY "BookgDt/Dt", take_booked_on},
    {ENTRY "BookgDt/DtTm", take_booked_on},
    {DETAIL "Refs/EndToEndId", take_end_to_end},
    {DETAIL "Refs/AcctSvcrRef", take_detail_reference},
    {DETAIL "Amt", take_detail_amount},
    {DETAIL "CdtDbtInd", take_detail_sign},
    {DETAIL "AmtDtls/TxAmt/Amt", take_transaction_amount},
    {DETAIL "RtrInf/Rsn/Cd", take_return_reason},
    {DETAIL "RtrInf/Rsn/Prtry", take_return_reason},
};

/* ---- elements with elements ---- */

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
    const struct camt_statement *statement = statement_at_hand(reading);
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
    struct camt_statement *statement = statement_at_hand(reading);
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
    detail_at_hand(reading)->returned = true;
}

/* Appends a line with the values that all transactions of the entry share. */
static struct camt_line *append_line(struct reading *reading)
{
    struct camt_statement *statement = statement_at_hand(reading);
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
    {ROOT "Stmt", begin_statement, end_statement}, {STATEMENT "Bal", begin_balance, end_balance},
    {STATEMENT "Ntry", begin_entry, end_entry},    {ENTRY "NtryDtls/TxDtls", begin_detail, NULL},
    {DETAIL "RtrInf", begin_return, NULL},
};

bool camt053_has_text(const struct reading *reading)
{
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        if (strcmp(texts[i].path, reading->path) == 0)
            return true;
    return false;
}

void camt053_take_text(struct reading *reading, const char *text)
{
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        if (strcmp(texts[i].path, reading->path) == 0)
            texts[i].take(reading, text);
}

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
