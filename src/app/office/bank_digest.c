/* SPDX-License-Identifier: ISC */
/* A digest is over texts and numbers in a fixed order. Texts are written as JSON strings, so that different
 * texts never give the same bytes together. */
#include "app/office/bank_digest.h"

#include "base/buffer.h"

#include <string.h>

enum { DIGEST_TEXT_MAX = 64 << 20 };

const char *bank_account_of(const struct camt_statement *statement)
{
    return statement->iban != NULL ? statement->iban : statement->account;
}

static void add_text(struct buffer *text, const char *value)
{
    if (value != NULL)
        buffer_add_json_string(text, value, strlen(value));
    buffer_add_char(text, ',');
}

static void add_number(struct buffer *text, int64_t number)
{
    buffer_add_integer(text, number);
    buffer_add_char(text, ',');
}

static bool finish(struct buffer *text, struct sha256 *digest)
{
    bool whole = !text->failed;
    if (whole)
        sha256_of(text->data, text->length, digest);
    buffer_dispose(text);
    return whole;
}

static void add_line(struct buffer *text, const struct camt_line *line)
{
    add_number(text, line->amount.minor);
    add_number(text, line->dated ? line->booked_on.days : INT32_MIN);
    add_number(text, line->booked | line->returned << 1 | line->unsplit << 2);
    add_number(text, line->part);
    add_text(text, line->end_to_end);
    add_text(text, line->reference);
    add_text(text, line->entry_reference);
    add_text(text, line->return_reason);
}

bool bank_statement_digest(const struct camt_statement *statement, struct sha256 *digest)
{
    struct buffer text;
    buffer_init(&text, DIGEST_TEXT_MAX);
    add_text(&text, statement->id);
    add_text(&text, bank_account_of(statement));
    for (size_t i = 0; i < statement->balance_count; i++) {
        add_text(&text, statement->balances[i].code);
        add_number(&text, statement->balances[i].amount.minor);
        add_number(&text, statement->balances[i].on.days);
    }
    for (size_t i = 0; i < statement->line_count; i++)
        add_line(&text, &statement->lines[i]);
    return finish(&text, digest);
}

bool bank_line_digest(const struct camt_statement *statement, const struct camt_line *line,
                      struct sha256 *digest)
{
    struct buffer text;
    buffer_init(&text, DIGEST_TEXT_MAX);
    add_text(&text, bank_account_of(statement));
    add_text(&text, line->reference);
    add_number(&text, line->part);
    add_number(&text, line->amount.minor);
    add_number(&text, line->dated ? line->booked_on.days : INT32_MIN);
    add_text(&text, line->end_to_end);
    return finish(&text, digest);
}
