/* SPDX-License-Identifier: ISC */
/* Matching.
 *
 * The account `bank` is to show what the bank shows: each booked line moves it once. A line that confirms or
 * fails a payment does so by the payment's own entry; one that comes after a person has done that posts
 * nothing more; every other goes to bank_suspense. */
#include "app/office/bank_match.h"

#include "app/office/bank_digest.h"
#include "app/office/bank_line.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { NOTE_SIZE = 200 }; /* a reason may be 35 characters of four bytes */

struct matching {
    struct head_work *work;
    struct faults *faults;
    const struct camt_statement *statement;
    struct bank_line_row *rows; /* one for each line */
    bool *repeated;             /* whether an earlier statement had the line */
    struct bank_payment *payments;
    size_t payment_count;
};

/* ---- a line that was told before ---- */

struct line_identity {
    struct sha256 identity;
    size_t line;
};

static int compare_identities(const void *a, const void *b)
{
    const struct line_identity *one = a, *other = b;
    int order = memcmp(&one->identity, &other->identity, sizeof one->identity);
    return order != 0 ? order : (one->line > other->line) - (one->line < other->line);
}

/* Lines of one statement that are alike in all of this are still two: the second's identity is that of a
 * second. */
static void tell_apart(struct line_identity *identities, size_t count)
{
    struct sha256 before = {{0}};
    qsort(identities, count, sizeof *identities, compare_identities);
    for (size_t i = 0, alike = 0; i < count; i++) {
        struct sha256 own = identities[i].identity;
        alike = i > 0 && memcmp(&own, &before, sizeof own) == 0 ? alike + 1 : 0;
        before = own;
        for (size_t n = 0; n < alike; n++)
            sha256_of(&identities[i].identity, sizeof own, &identities[i].identity);
    }
}

static bool collect_identities(struct matching *matching, struct line_identity *identities, size_t *count)
{
    const struct camt_statement *statement = matching->statement;
    *count = 0;
    for (size_t i = 0; i < statement->line_count; i++) {
        const struct camt_line *line = &statement->lines[i];
        if (!line->booked || line->reference == NULL)
            continue;
        identities[*count].line = i;
        if (!bank_line_digest(statement, line, &identities[(*count)++].identity))
            return false;
    }
    tell_apart(identities, *count);
    return true;
}

/* Those that are new get their identity, the others are marked as repeated. */
static enum store_result find_repeated(struct matching *matching)
{
    struct head_work *work = matching->work;
    size_t lines = matching->statement->line_count, count, seen_count;
    struct line_identity *identities = arena_array(&work->arena, lines + 1, sizeof *identities);
    struct sha256 *hashes = arena_array(&work->arena, lines + 1, sizeof *hashes);
    int64_t *seen;
    if (identities == NULL || hashes == NULL || !collect_identities(matching, identities, &count))
        return STORE_FAILED;
    for (size_t i = 0; i < count; i++)
        hashes[i] = identities[i].identity;
    enum store_result result =
        store_lines_seen(work->pg, &work->arena, work->scheme->id, hashes, count, &seen, &seen_count);
    for (size_t i = 0; i < seen_count && result == STORE_OK; i++)
        matching->repeated[identities[seen[i]].line] = true;
    for (size_t i = 0; i < count && result == STORE_OK; i++) {
        char hex[SHA256_HEX_MAX];
        if (matching->repeated[identities[i].line])
            continue;
        sha256_hex(&hashes[i], hex);
        const char *kept = arena_copy(&work->arena, hex, strlen(hex));
        matching->rows[identities[i].line].identity = kept;
        result = kept != NULL ? STORE_OK : STORE_FAILED;
    }
    return result;
}

/* ---- matching ---- */

static enum store_result find_payments(struct matching *matching)
{
    struct head_work *work = matching->work;
    const struct camt_statement *statement = matching->statement;
    const char **ids = arena_array(&work->arena, statement->line_count + 1, sizeof *ids);
    size_t count = 0;
    if (ids == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < statement->line_count; i++)
        if (statement->lines[i].end_to_end != NULL)
            ids[count++] = statement->lines[i].end_to_end;
    return store_bank_payments(work->pg, &work->arena, work->scheme->id, ids, count, &matching->payments,
                               &matching->payment_count);
}

static int compare_payment(const void *id, const void *payment)
{
    return strcmp(id, ((const struct bank_payment *)payment)->payment_id);
}

bool bank_payment_direct(const struct bank_payment *payment)
{
    return payment->payer != 0 && payment->payee != 0;
}

struct money bank_payment_effect(const struct bank_payment *payment)
{
    return (struct money){payment->payee == 0 ? payment->amount.minor : -payment->amount.minor};
}

bool same_sign(struct money a, struct money b)
{
    return (a.minor < 0) == (b.minor < 0);
}

static enum store_result suspend(struct matching *matching, struct bank_line_row *row,
                                 const char *disposition)
{
    row->disposition = disposition;
    return bank_line_post(matching->work, row->amount, &row->entry);
}

enum store_result bank_payment_change(struct head_work *work, struct bank_payment *payment,
                                      enum payment_change change, const char *note, struct faults *faults,
                                      int64_t *entry)
{
    enum store_result result = payments_change(work, payment->payment_id, change, note, faults);
    *entry = work->state.head.last_entry;
    payment->confirmed = true;
    payment->status = change == CHANGE_CONFIRM ? PAYMENT_CONFIRMED : PAYMENT_FAILED;
    return result;
}

/* The payment's money. Nobody has agreed to one that is only computed; one that has failed without being
 * confirmed is settled otherwise. */
static enum store_result take_payment(struct matching *matching, struct bank_payment *payment,
                                      struct bank_line_row *row)
{
    struct money effect = bank_payment_effect(payment);
    bool expected =
        payment->confirmed || payment->status == PAYMENT_APPROVED || payment->status == PAYMENT_INSTRUCTED;
    if (!expected || payment->taken || !same_sign(row->amount, effect))
        return suspend(matching, row, "unmatched");
    if (row->amount.minor != effect.minor)
        return suspend(matching, row,
                       llabs(row->amount.minor) < payment->amount.minor ? "underpaid" : "overpaid");
    row->disposition = "matched";
    payment->taken = true;
    if (payment->confirmed)
        return STORE_OK;
    return bank_payment_change(matching->work, payment, CHANGE_CONFIRM, NULL, matching->faults, &row->entry);
}

/* The payment's money on its way back. A return of what was never confirmed is left to a person. */
static enum store_result take_return(struct matching *matching, struct bank_payment *payment,
                                     struct bank_line_row *row)
{
    char note[NOTE_SIZE];
    if (!payment->confirmed || payment->came_back || row->amount.minor != -bank_payment_effect(payment).minor)
        return suspend(matching, row, "unmatched");
    row->disposition = "returned";
    payment->came_back = true;
    if (payment->status == PAYMENT_FAILED)
        return STORE_OK;
    snprintf(note, sizeof note, "returned by the bank%s%s", row->return_reason != NULL ? ": " : "",
             row->return_reason != NULL ? row->return_reason : "");
    return bank_payment_change(matching->work, payment, CHANGE_FAIL, note, matching->faults, &row->entry);
}

static enum store_result take_line(struct matching *matching, size_t i)
{
    const struct camt_line *line = &matching->statement->lines[i];
    struct bank_line_row *row = &matching->rows[i];
    struct bank_payment *payment = NULL;
    if (line->end_to_end != NULL)
        payment = bsearch(line->end_to_end, matching->payments, matching->payment_count,
                          sizeof *matching->payments, compare_payment);
    if (payment != NULL)
        row->payment_id = payment->payment_id;
    row->disposition = !line->booked || line->amount.minor == 0 ? "ignored" : "repeated";
    if (!line->booked || line->amount.minor == 0 || matching->repeated[i])
        return STORE_OK;
    if (payment == NULL || bank_payment_direct(payment))
        return suspend(matching, row, "unmatched");
    return line->returned ? take_return(matching, payment, row) : take_payment(matching, payment, row);
}

/* Banks list a payment and its return in any order. */
static enum store_result take_lines(struct matching *matching)
{
    const struct camt_statement *statement = matching->statement;
    enum store_result result = STORE_OK;
    for (int returned = 0; returned <= 1; returned++)
        for (size_t i = 0; i < statement->line_count && result == STORE_OK; i++)
            if (statement->lines[i].returned == returned)
                result = take_line(matching, i);
    return result;
}

/* What is kept of the lines whatever becomes of them. */
static bool begin_rows(struct matching *matching)
{
    const struct camt_statement *statement = matching->statement;
    struct arena *arena = &matching->work->arena;
    matching->rows = arena_array(arena, statement->line_count + 1, sizeof *matching->rows);
    matching->repeated = arena_array(arena, statement->line_count + 1, sizeof *matching->repeated);
    if (matching->rows == NULL || matching->repeated == NULL)
        return false;
    for (size_t i = 0; i < statement->line_count; i++) {
        const struct camt_line *line = &statement->lines[i];
        char day[DATE_TEXT_MAX];
        matching->rows[i] = (struct bank_line_row){
            .amount = line->amount,
            .end_to_end = line->end_to_end,
            .reference = line->reference != NULL ? line->reference : line->entry_reference,
            .return_reason = line->return_reason,
            .returned = line->returned,
        };
        if (!line->dated)
            continue;
        matching->rows[i].booked_on = arena_copy(arena, day, date_format(line->booked_on, day));
        if (matching->rows[i].booked_on == NULL)
            return false;
    }
    return true;
}

enum store_result bank_match(struct head_work *work, const struct camt_statement *statement,
                             struct bank_line_row **rows, struct faults *faults)
{
    struct matching matching = {.work = work, .faults = faults, .statement = statement};
    enum store_result result = begin_rows(&matching) ? STORE_OK : STORE_FAILED;
    if (result == STORE_OK)
        result = find_repeated(&matching);
    if (result == STORE_OK)
        result = find_payments(&matching);
    if (result == STORE_OK)
        result = take_lines(&matching);
    *rows = matching.rows;
    return result;
}
