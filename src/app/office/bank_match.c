/* SPDX-License-Identifier: ISC */
/* Matching lines with payments.
 *
 * The account `bank` must show the same as the bank, so each booked line moves it once. A line that confirms
 * or fails a payment moves it by the payment's entry. If a person has confirmed or failed the payment before,
 * that entry exists, and the line posts nothing. Every other line is booked against bank_suspense. */
#include "app/office/bank_match.h"

#include "app/office/bank_between.h"
#include "app/office/bank_digest.h"
#include "app/office/bank_line.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { NOTE_SIZE = 200 }; /* a return reason has up to 35 characters of up to four bytes */

struct matching {
    struct head_work *work;
    struct faults *faults;
    const struct camt_statement *statement;
    struct bank_line_row *rows; /* one for each line */
    bool *repeated;             /* by line: whether an earlier statement had it */
    struct bank_payment *payments;
    size_t payment_count;
    struct bank_pool_payment *from_pools; /* payments of other schemes' pools to this one's */
    size_t from_pool_count;
};

/* ---- lines that an earlier statement had ---- */

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

/* Lines of one statement may have the same digest and still be different bookings. The second gets the hash
 * of the digest as its identity, the third the hash of that, and so on. */
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

/* Marks the lines that an earlier statement had, and gives the others their identity. */
static enum store_result find_repeated(struct matching *matching)
{
    struct head_work *work = matching->work;
    size_t lines = matching->statement->line_count, count;
    struct line_identity *identities = arena_array(&work->arena, lines + 1, sizeof *identities);
    struct sha256 *hashes = arena_array(&work->arena, lines + 1, sizeof *hashes);
    struct lines_seen seen = {0};
    if (identities == NULL || hashes == NULL || !collect_identities(matching, identities, &count))
        return STORE_FAILED;
    for (size_t i = 0; i < count; i++)
        hashes[i] = identities[i].identity;
    enum store_result result =
        store_lines_seen(work->pg, &work->arena, work->scheme->id, hashes, count, &seen);
    for (size_t i = 0; i < seen.count && result == STORE_OK; i++)
        matching->repeated[identities[seen.indices[i]].line] = true;
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
    const struct payment_ids named = {ids, count};
    enum store_result result = store_bank_payments(work->pg, &work->arena, work->scheme->id, &named,
                                                   &matching->payments, &matching->payment_count);
    if (result == STORE_OK && work->network->agreement_count > 0)
        result = store_bank_pool_payments(work->pg, &work->arena, work->scheme->id, &named,
                                          &matching->from_pools, &matching->from_pool_count);
    return result;
}

static int compare_payment(const void *id, const void *payment)
{
    return strcmp(id, ((const struct bank_payment *)payment)->payment_id);
}

static int compare_pool_payment(const void *id, const void *payment)
{
    return strcmp(id, ((const struct bank_pool_payment *)payment)->payment_id);
}

bool bank_payment_is_direct(const struct bank_payment *payment)
{
    return payment->payer != 0 && payment->payee != 0;
}

struct money bank_payment_effect(const struct bank_payment *payment)
{
    bool is_paid_in = payment->payee == 0 && payment->host == 0;
    return (struct money){is_paid_in ? payment->amount.minor : -payment->amount.minor};
}

bool bank_same_sign(struct money a, struct money b)
{
    return (a.minor < 0) == (b.minor < 0);
}

/* Leaves the line to a person: its amount waits in bank_suspense. */
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
    struct money booked = {change == CHANGE_CONFIRM ? payment->amount.minor : 0};
    enum store_result result =
        payments_change_booked(work, payment->payment_id, change, booked, note, faults);
    *entry = work->state.head.last_entry; /* a confirmation or failure appends one entry, unless refused */
    payment->confirmed = true;            /* only a confirmed payment is failed here */
    payment->status = change == CHANGE_CONFIRM ? PAYMENT_CONFIRMED : PAYMENT_FAILED;
    return result;
}

/* Whether the bank may be moving this payment's money. Nobody has agreed to a payment that is only computed.
 * A payment that failed before it was confirmed is in arrears, which a later close settles. */
static bool is_expected(const struct bank_payment *payment)
{
    return payment->confirmed || payment->status == PAYMENT_APPROVED || payment->status == PAYMENT_INSTRUCTED;
}

/* The line of a payment in another currency tells the amount that the bank booked, if it says that the agreed
 * amount was instructed. Otherwise only a person can tell that it is the bank's exchange of it. */
static void learn_amount(struct bank_payment *payment, const struct camt_line *line)
{
    if (!payment->in_own_currency && !payment->confirmed && line->amount.minor < 0 &&
        bank_between_instructed(line, payment->agreed, payment->agreed_currency))
        payment->amount.minor = -line->amount.minor;
}

/* The line names the payment and is no return. It is the payment's money if direction and amount are the
 * payment's. */
static enum store_result take_payment(struct matching *matching, struct bank_payment *payment,
                                      const struct camt_line *line, struct bank_line_row *row)
{
    int64_t moved = llabs(row->amount.minor);
    learn_amount(payment, line);
    if (!is_expected(payment) || payment->taken || payment->amount.minor == 0 ||
        !bank_same_sign(row->amount, bank_payment_effect(payment)))
        return suspend(matching, row, "unmatched");
    if (moved != payment->amount.minor)
        return suspend(matching, row, moved < payment->amount.minor ? "underpaid" : "overpaid");
    row->disposition = "matched";
    payment->taken = true;
    if (payment->confirmed) /* by a person: the confirmation's entry has moved `bank` already */
        return STORE_OK;
    return bank_payment_change(matching->work, payment, CHANGE_CONFIRM, NULL, matching->faults, &row->entry);
}

/* The line names the payment and is a return. It is the payment's money on its way back if the payment was
 * confirmed, has not come back before, and returns in full. */
static enum store_result take_return(struct matching *matching, struct bank_payment *payment,
                                     struct bank_line_row *row)
{
    char note[NOTE_SIZE];
    bool is_whole = row->amount.minor == -bank_payment_effect(payment).minor;
    if (!payment->confirmed || payment->came_back || !is_whole)
        return suspend(matching, row, "unmatched");
    row->disposition = "returned";
    payment->came_back = true;
    if (payment->status == PAYMENT_FAILED) /* by a person: the failure's entry has moved `bank` already */
        return STORE_OK;
    snprintf(note, sizeof note, "returned by the bank%s%s", row->return_reason != NULL ? ": " : "",
             row->return_reason != NULL ? row->return_reason : "");
    return bank_payment_change(matching->work, payment, CHANGE_FAIL, note, matching->faults, &row->entry);
}

/* The payment that the line names by its end-to-end id. NULL: it names none of this scheme. */
static struct bank_payment *payment_of(const struct matching *matching, const struct camt_line *line)
{
    if (line->end_to_end == NULL)
        return NULL;
    return bsearch(line->end_to_end, matching->payments, matching->payment_count, sizeof *matching->payments,
                   compare_payment);
}

static struct bank_pool_payment *from_pool(const struct matching *matching, const struct camt_line *line)
{
    if (line->end_to_end == NULL || matching->from_pool_count == 0)
        return NULL;
    return bsearch(line->end_to_end, matching->from_pools, matching->from_pool_count,
                   sizeof *matching->from_pools, compare_pool_payment);
}

/* The line names a payment of another pool to this one. */
static enum store_result take_from_pool(struct matching *matching, struct bank_pool_payment *payment,
                                        const struct camt_line *line, struct bank_line_row *row)
{
    const char *disposition = bank_between_judge(payment, line);
    if (disposition != NULL)
        return suspend(matching, row, disposition);
    row->disposition = "between_schemes";
    row->payment_id = payment->payment_id;
    return bank_between_post(matching->work, KIND_BANK_LINE, payment, row->amount, &row->between,
                             &row->entry);
}

static const char repeated[] = "repeated";

bool bank_line_is_repeated(const struct bank_line_row *row)
{
    return strcmp(row->disposition, repeated) == 0;
}

static enum store_result take_line(struct matching *matching, size_t i)
{
    const struct camt_line *line = &matching->statement->lines[i];
    struct bank_line_row *row = &matching->rows[i];
    struct bank_payment *payment = payment_of(matching, line);
    if (payment != NULL)
        row->payment_id = payment->payment_id;
    if (!line->booked || line->amount.minor == 0) {
        row->disposition = "ignored";
        return STORE_OK;
    }
    if (matching->repeated[i]) {
        row->disposition = repeated;
        return STORE_OK;
    }
    struct bank_pool_payment *of_pool = payment == NULL ? from_pool(matching, line) : NULL;
    if (of_pool != NULL)
        return take_from_pool(matching, of_pool, line, row);
    if (payment == NULL || bank_payment_is_direct(payment))
        return suspend(matching, row, "unmatched");
    return line->returned ? take_return(matching, payment, row) : take_payment(matching, payment, line, row);
}

/* Payments first, then returns: a statement may list a return before its payment. */
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

/* Makes the rows, with the facts of a line that are kept in any case. False: no memory. */
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
