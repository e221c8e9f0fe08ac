/* SPDX-License-Identifier: ISC */
/* The texts of a camt.053: a table says where the text of each element is kept. Texts are checked on the way.
 */
#include "payment/camt053_texts.h"

#include "base/arena.h"

#include <stdlib.h>
#include <string.h>

enum {
    REFERENCE_LENGTH = 35, /* Max35Text */
    ACCOUNT_LENGTH = 34,   /* Max34Text */
    DIGITS_MAX = 18        /* of an amount, according to the schema */
};

/* ---- values ---- */

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

/* It may be in any currency. An amount that its currency can't have matches no payment. */
static void keep_instructed(struct reading *reading, bool *has, struct camt_instructed *into,
                            const char *text)
{
    const struct currency *currency = reading->amount_currency;
    if (*has)
        camt053_refuse_element(reading, "stands twice");
    *has = true;
    if (currency != NULL && read_size(text, currency->decimals, &into->amount))
        into->currency = currency;
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
    keep_reference(reading, &camt053_statement(reading)->id, text);
}

static void take_iban(struct reading *reading, const char *text)
{
    keep(reading, &camt053_statement(reading)->iban, text, ACCOUNT_LENGTH);
}

static void take_account(struct reading *reading, const char *text)
{
    keep(reading, &camt053_statement(reading)->account, text, ACCOUNT_LENGTH);
}

static void take_account_currency(struct reading *reading, const char *text)
{
    keep_reference(reading, &camt053_statement(reading)->currency, text);
    if (strcmp(text, reading->currency->code) != 0)
        camt053_refuse(reading, CAMT_CURRENCY, "the account is not in %s, the scheme's currency",
                       reading->currency->code);
}

/* ElctrncSeqNb, a whole number of up to 18 digits. */
static void take_sequence(struct reading *reading, const char *text)
{
    struct camt_statement *statement = camt053_statement(reading);
    size_t digits = strspn(text, "0123456789");
    if (statement->sequence != 0)
        camt053_refuse_element(reading, "stands twice");
    else if (digits < 1 || digits > DIGITS_MAX || text[digits] != '\0')
        camt053_refuse_element(reading, "is no whole number of up to 18 digits");
    else
        statement->sequence = strtoll(text, NULL, 10);
}

static void take_from(struct reading *reading, const char *text)
{
    struct camt_statement *statement = camt053_statement(reading);
    keep_date(reading, &statement->has_from, &statement->from, text);
}

static void take_to(struct reading *reading, const char *text)
{
    struct camt_statement *statement = camt053_statement(reading);
    keep_date(reading, &statement->has_to, &statement->to, text);
}

static void take_balance_code(struct reading *reading, const char *text)
{
    keep_reference(reading, &reading->balance.code, text);
}

static void take_proprietary_balance_code(struct reading *reading, const char *text)
{
    reading->balance.proprietary = true;
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

static void take_entry_instructed(struct reading *reading, const char *text)
{
    keep_instructed(reading, &reading->entry.has_instructed, &reading->entry.instructed, text);
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
    keep_reference(reading, &camt053_detail(reading)->end_to_end, text);
}

static void take_detail_reference(struct reading *reading, const char *text)
{
    keep_reference(reading, &camt053_detail(reading)->reference, text);
}

static void take_detail_amount(struct reading *reading, const char *text)
{
    keep_amount(reading, &camt053_detail(reading)->amount, text);
}

static void take_detail_sign(struct reading *reading, const char *text)
{
    keep_sign(reading, &camt053_detail(reading)->amount, text);
}

static void take_transaction_amount(struct reading *reading, const char *text)
{
    keep_amount(reading, &camt053_detail(reading)->transaction, text);
}

static void take_detail_instructed(struct reading *reading, const char *text)
{
    struct detail *detail = camt053_detail(reading);
    keep_instructed(reading, &detail->has_instructed, &detail->instructed, text);
}

static void take_return_reason(struct reading *reading, const char *text)
{
    keep_reference(reading, &camt053_detail(reading)->return_reason, text);
}

static const struct {
    const char *path;
    void (*take)(struct reading *reading, const char *text);
} texts[] = {
    {CAMT053_ROOT "GrpHdr/MsgId", take_message_id},
    {CAMT053_STATEMENT "Id", take_statement_id},
    {CAMT053_STATEMENT "ElctrncSeqNb", take_sequence},
    {CAMT053_STATEMENT "FrToDt/FrDtTm", take_from},
    {CAMT053_STATEMENT "FrToDt/ToDtTm", take_to},
    {CAMT053_STATEMENT "Acct/Id/IBAN", take_iban},
    {CAMT053_STATEMENT "Acct/Id/Othr/Id", take_account},
    {CAMT053_STATEMENT "Acct/Ccy", take_account_currency},
    {CAMT053_STATEMENT "Bal/Tp/CdOrPrtry/Cd", take_balance_code},
    {CAMT053_STATEMENT "Bal/Tp/CdOrPrtry/Prtry", take_proprietary_balance_code},
    {CAMT053_STATEMENT "Bal/Amt", take_balance_amount},
    {CAMT053_STATEMENT "Bal/CdtDbtInd", take_balance_sign},
    {CAMT053_STATEMENT "Bal/Dt/Dt", take_balance_date},
    {CAMT053_STATEMENT "Bal/Dt/DtTm", take_balance_date},
    {CAMT053_ENTRY "NtryRef", take_entry_reference},
    {CAMT053_ENTRY "AcctSvcrRef", take_bank_reference},
    {CAMT053_ENTRY "Amt", take_entry_amount},
    {CAMT053_ENTRY "AmtDtls/InstdAmt/Amt", take_entry_instructed},
    {CAMT053_ENTRY "CdtDbtInd", take_entry_sign},
    {CAMT053_ENTRY "RvslInd", take_reversal},
    {CAMT053_ENTRY "Sts/Cd", take_status},
    {CAMT053_ENTRY "Sts/Prtry", take_status},
    {CAMT053_ENTRY "BookgDt/Dt", take_booked_on},
    {CAMT053_ENTRY "BookgDt/DtTm", take_booked_on},
    {CAMT053_DETAIL "Refs/EndToEndId", take_end_to_end},
    {CAMT053_DETAIL "Refs/AcctSvcrRef", take_detail_reference},
    {CAMT053_DETAIL "Amt", take_detail_amount},
    {CAMT053_DETAIL "CdtDbtInd", take_detail_sign},
    {CAMT053_DETAIL "AmtDtls/TxAmt/Amt", take_transaction_amount},
    {CAMT053_DETAIL "AmtDtls/InstdAmt/Amt", take_detail_instructed},
    {CAMT053_DETAIL "RtrInf/Rsn/Cd", take_return_reason},
    {CAMT053_DETAIL "RtrInf/Rsn/Prtry", take_return_reason},
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
