/* SPDX-License-Identifier: ISC */
/* Taking a message of the bank. It is read as a whole first. Then one transaction under the head row looks up
 * each of its statements, and matches and keeps those that are new. */
#include "app/office/bank.h"

#include "app/office/bank_digest.h"
#include "app/office/bank_match.h"
#include "payment/camt053_balances.h"

#include <string.h>

enum { DOCUMENT_ARENA_MAX = 256 << 20 };

struct taking {
    const struct bank_statement_order *order;
    const struct camt_document *document;
    struct head_work *work;
    struct faults *faults;
    int64_t kept_document;                   /* 0: not kept yet */
    int64_t statements[CAMT_STATEMENTS_MAX]; /* their numbers */
};

void bank_init(void)
{
    camt053_init();
}

static enum store_result keep_document(struct taking *taking)
{
    struct bank_document_row row = {
        .scheme = taking->work->scheme->id,
        .received_at = taking->work->now,
        .key = taking->order->key,
        .message_id = taking->document->message_id,
        .content = taking->order->text,
        .length = taking->order->length,
    };
    if (taking->kept_document != 0)
        return STORE_OK;
    sha256_of(row.content, row.length, &row.hash);
    return store_add_document(taking->work->pg, &row, &taking->kept_document);
}

/* The balances as the bank states them, whatever their codes. False: no memory. */
static bool fill_balances(struct arena *arena, const struct camt_statement *statement,
                          struct bank_statement_row *row)
{
    size_t count = statement->balance_count;
    const char **codes = arena_array(arena, count + 1, sizeof *codes);
    int64_t *amounts = arena_array(arena, count + 1, sizeof *amounts);
    struct date *days = arena_array(arena, count + 1, sizeof *days);
    if (codes == NULL || amounts == NULL || days == NULL)
        return false;
    for (size_t i = 0; i < count; i++) {
        codes[i] = statement->balances[i].code;
        amounts[i] = statement->balances[i].amount.minor;
        days[i] = statement->balances[i].on;
    }
    row->balance_codes = codes;
    row->balance_amounts = amounts;
    row->balance_days = days;
    row->balance_count = count;
    return true;
}

static struct money sum_of_repeated(const struct bank_line_row *rows, size_t count)
{
    struct money sum = {0};
    for (size_t i = 0; i < count; i++)
        if (bank_line_is_repeated(&rows[i])) /* part of the booked lines, whose sum is in range */
            sum.minor += rows[i].amount.minor;
    return sum;
}

static enum store_result keep_statement(struct taking *taking, const struct camt_statement *statement,
                                        struct bank_statement_row *row, const struct bank_line_row *lines,
                                        struct statement_numbers *numbers)
{
    const struct camt_stated opening = camt053_opening(statement), closing = camt053_closing(statement);
    row->scheme = taking->work->scheme->id;
    row->document = taking->kept_document;
    row->account = bank_account_of(statement);
    row->statement_id = statement->id;
    row->sequence = statement->sequence;
    row->opening = opening.known ? &opening.amount : NULL;
    row->closing = closing.known ? &closing.amount : NULL;
    row->repeated = sum_of_repeated(lines, statement->line_count);
    camt053_days(statement, taking->work->today->date, &row->first_day, &row->last_day);
    if (!fill_balances(&taking->work->arena, statement, row))
        return STORE_FAILED;
    return store_add_statement(taking->work->pg, row, numbers);
}

/* The lines are matched first, because the statement is kept with the sum of its new lines. */
static enum store_result take_new(struct taking *taking, const struct camt_statement *statement,
                                  const struct sha256 *digest, int64_t *number)
{
    struct head_work *work = taking->work;
    struct bank_statement_row row = {.digest = *digest};
    struct statement_numbers numbers = {0};
    struct bank_line_row *lines;
    if (!camt053_booked(statement, &row.booked)) {
        faults_add(taking->faults, REASON_STATEMENT_INVALID, "", "its lines sum to more than can be counted");
        return STORE_OK;
    }
    enum store_result result = keep_document(taking);
    if (result == STORE_OK)
        result = bank_match(work, statement, &lines, taking->faults);
    if (result == STORE_OK)
        result = keep_statement(taking, statement, &row, lines, &numbers);
    if (result == STORE_OK)
        result = store_add_lines(work->pg, work->scheme->id, &numbers, work->today->date, lines,
                                 statement->line_count);
    *number = numbers.statement;
    return result;
}

static enum store_result take_one(struct taking *taking, const struct camt_statement *statement,
                                  int64_t *number)
{
    struct sha256 digest, kept;
    if (!bank_statement_digest(statement, &digest))
        return STORE_FAILED;
    enum store_result result = store_find_statement(taking->work->pg, taking->work->scheme->id,
                                                    bank_account_of(statement), statement->id, number, &kept);
    if (result == STORE_OK && *number == 0)
        return take_new(taking, statement, &digest, number);
    if (result == STORE_OK && memcmp(&digest, &kept, sizeof kept) != 0)
        faults_add(taking->faults, REASON_STATEMENT_CONFLICT, "", "statement number %zu of the message",
                   (size_t)(statement - taking->document->statements) + 1);
    return result;
}

static bool is_account_of(const struct bank_party *party, const struct camt_statement *statement)
{
    const char *own = statement->iban != NULL ? party->iban : party->account;
    return own != NULL && strcmp(own, bank_account_of(statement)) == 0;
}

static enum store_result check_accounts(struct taking *taking)
{
    struct head_work *work = taking->work;
    struct bank_operator bank_operator;
    enum store_result result = store_bank_operator(work->pg, &work->arena, work->scheme->id, &bank_operator);
    if (result != STORE_OK)
        return result;
    for (size_t i = 0; i < taking->document->count; i++)
        if (!is_account_of(&bank_operator.party, &taking->document->statements[i]))
            faults_add(taking->faults, REASON_STATEMENT_ACCOUNT, "", "statement number %zu of the message",
                       i + 1);
    return STORE_OK;
}

static enum store_result take(void *context, struct head_work *work, struct faults *faults)
{
    struct taking *taking = context;
    taking->work = work;
    taking->faults = faults;
    taking->kept_document = 0;
    enum store_result result = check_accounts(taking);
    for (size_t i = 0; i < taking->document->count && result == STORE_OK && faults->count == 0; i++)
        result = take_one(taking, &taking->document->statements[i], &taking->statements[i]);
    return result;
}

static enum store_result view_statements(void *context, struct pg *pg)
{
    const struct taking *taking = context;
    buffer_reset(taking->order->json);
    return read_statements_taken(pg, taking->order->scheme->id, taking->statements, taking->document->count,
                                 taking->order->json);
}

/* The reader's results as faults of the request. */
static const enum reason camt_reasons[] = {
    [CAMT_NOT_XML] = REASON_NOT_XML,
    [CAMT_OTHER] = REASON_NOT_CAMT053,
    [CAMT_INVALID] = REASON_STATEMENT_INVALID,
    [CAMT_TOO_LARGE] = REASON_TOO_MANY,
    [CAMT_CURRENCY] = REASON_STATEMENT_CURRENCY,
};

static enum store_result read_document(const struct bank_statement_order *order, struct arena *arena,
                                       struct camt_document *document, struct faults *faults)
{
    enum camt_result result =
        camt053_read(order->text, order->length, order->scheme->currency, arena, document);
    if (result == CAMT_NO_MEMORY)
        return STORE_UNAVAILABLE; /* nothing was recorded */
    if (result != CAMT_OK && document->error_line > 0)
        faults_add(faults, camt_reasons[result], "", "%s (line %d)", document->detail, document->error_line);
    else if (result != CAMT_OK)
        faults_add(faults, camt_reasons[result], "", "%s", document->detail);
    return STORE_OK;
}

enum store_result bank_take_statement(struct pg *pg, struct snapshot_cache *snapshots,
                                      const struct bank_statement_order *order, struct faults *faults)
{
    struct arena arena;
    struct camt_document document;
    struct taking taking = {.order = order, .document = &document};
    const struct head_order under_head = {
        .scheme = order->scheme->id,
        .key = order->key,
        .dry_run = order->dry_run,
        .posts_now = true,
        .work = take,
        .view = view_statements,
        .context = &taking,
    };
    arena_init(&arena, DOCUMENT_ARENA_MAX);
    enum store_result result = read_document(order, &arena, &document, faults);
    if (result == STORE_OK && faults->count == 0)
        result = head_work_run(pg, snapshots, &under_head, faults);
    arena_dispose(&arena);
    return result;
}
