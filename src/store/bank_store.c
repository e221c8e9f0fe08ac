/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/bank_store.h"

#include "sql.h"
#include "store/pg_ask.h"

#include <string.h>

static void take_account(struct pg_row *row, struct bank_party *party)
{
    party->iban = row_copy_or_null(row);
    party->account = row_copy_or_null(row);
    party->bank_code = row_copy_or_null(row);
    party->bic = row_copy_or_null(row);
}

static void take_operator(struct pg_row *row, void *into)
{
    struct bank_operator *bank_operator = into;
    bank_operator->party.name = row_copy_or_null(row);
    take_account(row, &bank_operator->party);
    bank_operator->creditor_id = row_copy_or_null(row);
    bank_operator->new_id = row_uuid(row);
}

enum store_result store_bank_operator(struct pg *pg, struct arena *arena, int32_t scheme,
                                      struct bank_operator *bank_operator)
{
    return pg_ask(pg, &sql_bank_operator, PG_ARGS(arg_int(scheme)),
                  pg_one(arena, take_operator, bank_operator));
}

/* --- files ---------------------------------------------------------------------------------------------- */

/* A date within JSON is a text. NULL: it stays as it is. */
static void take_text_date(struct pg_row *row, struct date *date)
{
    const char *text = row_text_or_null(row);
    if (text != NULL)
        row_check(row, date_parse(text, strlen(text), date));
}

/* If the day has no such payments, there is one row without an id. */
static void take_order(struct pg_row *row, void *into)
{
    struct bank_order *order = into;
    struct bank_orders *orders = row->shared;
    orders->closed = row_bool(row);
    order->payment_id = row_copy_or_null(row);
    if (order->payment_id == NULL) {
        row_skip_rest(row);
        return;
    }
    order->amount.minor = row_int(row);
    order->due_on = row_date(row);
    order->participant = row_copy(row);
    order->party.name = row_copy(row);
    take_account(row, &order->party);
    order->mandate_id = row_copy_or_null(row);
    take_text_date(row, &order->mandate_signed_on);
    order->account_changed = row_bool(row);
    order->first = row_bool(row);
    order->instructed.minor = row_int(row);
    order->currency = currency_find(row_text(row));
    row_check(row, order->currency != NULL);
}

enum store_result store_bank_orders(struct pg *pg, struct arena *arena, int32_t scheme, struct date day,
                                    bool collections, struct bank_orders *orders)
{
    enum store_result result =
        pg_ask(pg, &sql_file_orders, PG_ARGS(arg_int(scheme), arg_date(day), arg_bool(collections)),
               PG_LIST(arena, take_order, orders, &orders->items, &orders->count));
    if (result == STORE_OK && orders->count > 0 && orders->items[0].payment_id == NULL)
        orders->count = 0;
    return result;
}

enum store_result store_add_file(struct pg *pg, const struct payment_file_row *row)
{
    return pg_run(pg, &sql_file_add,
                  PG_ARGS(arg_int(row->scheme), arg_uuid(&row->file_id), arg_date(row->day),
                          arg_text(row->collections ? "collections" : "payouts"), arg_text(row->message_id),
                          arg_instant(row->created_at), arg_int(row->key), arg_int(row->total.minor),
                          arg_bytes(row->content, row->length), arg_bytes(row->hash.bytes, SHA256_SIZE),
                          arg_texts(ARRAY(row->payment_ids, row->count)),
                          arg_texts(ARRAY(row->mandates, row->count))));
}

/* Gets the parts of a file that is read. */
struct file_reader {
    struct buffer *json, *content; /* NULL: not wanted */
    char *hash;
};

static void take_file(struct pg_row *row, void *into)
{
    const struct file_reader *reader = into;
    if (reader->json != NULL)
        row_append(row, reader->json);
    else
        row_skip(row);
    if (reader->content != NULL)
        row_append_bytes(row, reader->content);
    else
        row_skip(row);
    row_text_into(row, reader->hash, SHA256_HEX_MAX);
}

enum store_result read_file(struct pg *pg, const struct uuid *id, struct buffer *json, struct buffer *content,
                            char hash[static SHA256_HEX_MAX], bool *found)
{
    struct file_reader reader = {json, content, hash};
    return pg_ask(pg, &sql_file_get, PG_ARGS(arg_uuid(id)), pg_maybe(NULL, take_file, &reader, found));
}

enum store_result read_files(struct pg *pg, int32_t scheme, struct date day, struct list_slice *slice)
{
    return read_list_way(
        pg, SQL_WAYS(sql_files_list),
        PG_ARGS(arg_int(scheme), arg_date(day), arg_int(slice->after), arg_limit(slice->limit)), slice);
}

/* --- statements ----------------------------------------------------------------------------------------- */

static void take_statement(struct pg_row *row, void *into)
{
    struct sha256 *digest = row->shared;
    *(int64_t *)into = row_int(row);
    row_bytes(row, digest->bytes, SHA256_SIZE);
}

enum store_result store_find_statement(struct pg *pg, int32_t scheme, const char *account,
                                       const char *statement_id, int64_t *statement, struct sha256 *digest)
{
    struct pg_answer answer = pg_maybe(NULL, take_statement, statement, NULL);
    answer.shared = digest;
    *statement = 0;
    return pg_ask(pg, &sql_statement_find,
                  PG_ARGS(arg_int(scheme), arg_text(account), arg_text(statement_id)), answer);
}

enum store_result store_add_document(struct pg *pg, const struct bank_document_row *row, int64_t *document)
{
    return pg_ask(pg, &sql_document_add,
                  PG_ARGS(arg_int(row->scheme), arg_instant(row->received_at), arg_int(row->key),
                          arg_text(row->message_id), arg_bytes(row->content, row->length),
                          arg_bytes(row->hash.bytes, SHA256_SIZE)),
                  pg_one(NULL, take_int, document));
}

static void take_numbers(struct pg_row *row, void *into)
{
    struct statement_numbers *numbers = into;
    numbers->statement = row_int(row);
    numbers->last_line = row_int(row);
}

static struct pg_arg arg_money_at(const struct money *amount)
{
    return arg_int_if(amount != NULL, amount != NULL ? amount->minor : 0);
}

enum store_result store_add_statement(struct pg *pg, const struct bank_statement_row *row,
                                      struct statement_numbers *numbers)
{
    return pg_ask(pg, &sql_statement_add,
                  PG_ARGS(arg_int(row->scheme), arg_int(row->document), arg_text(row->account),
                          arg_text(row->statement_id), arg_bytes(row->digest.bytes, SHA256_SIZE),
                          arg_texts(ARRAY(row->balance_codes, row->balance_count)),
                          arg_int8s(ARRAY(row->balance_amounts, row->balance_count)),
                          arg_dates(ARRAY(row->balance_days, row->balance_count)), arg_date(row->first_day),
                          arg_date(row->last_day), arg_int(row->sequence), arg_money_at(row->opening),
                          arg_money_at(row->closing), arg_int(row->booked.minor),
                          arg_int(row->repeated.minor)),
                  pg_one(NULL, take_numbers, numbers));
}

/* --- lines ---------------------------------------------------------------------------------------------- */

static void take_payment(struct pg_row *row, void *into)
{
    struct bank_payment *payment = into;
    payment->payment_id = row_copy(row);
    row_check(row, payment_status_parse(row_text(row), &payment->status));
    payment->payer = row_int32_or_0(row);
    payment->payee = row_int32_or_0(row);
    payment->amount.minor = row_int(row);
    payment->confirmed = row_bool(row);
    payment->taken = row_bool(row);
    payment->came_back = row_bool(row);
    payment->host = row_int32_or_0(row);
    payment->in_own_currency = row_bool(row);
    payment->agreed.minor = row_int(row);
    payment->agreed_currency = currency_find(row_text(row));
    row_check(row, payment->agreed_currency != NULL);
}

static void take_pool_payment(struct pg_row *row, void *into)
{
    struct bank_pool_payment *payment = into;
    payment->payment_id = row_copy(row);
    payment->home = row_int32(row);
    row_check(row, payment_status_parse(row_text(row), &payment->status));
    payment->agreed.minor = row_int(row);
    payment->in_own_currency = row_bool(row);
    payment->currency = currency_find(row_text(row));
    row_check(row, payment->currency != NULL);
    payment->host_booked.minor = row_int(row);
    payment->paid.minor = row_int(row);
    payment->paid_booked.minor = row_int(row);
}

enum store_result store_bank_pool_payments(struct pg *pg, struct arena *arena, int32_t host,
                                           const struct payment_ids *ids, struct bank_pool_payment **payments,
                                           size_t *found)
{
    return pg_ask(pg, &sql_bank_pool_payments,
                  PG_ARGS(arg_int(host), arg_texts(ARRAY(ids->items, ids->count))),
                  PG_LIST(arena, take_pool_payment, NULL, payments, found));
}

enum store_result store_between_line_payment(struct pg *pg, struct arena *arena, int32_t host, int32_t home,
                                             int64_t line, const char **payment_id)
{
    *payment_id = NULL;
    return pg_ask(pg, &sql_between_line_payment, PG_ARGS(arg_int(host), arg_int(home), arg_int(line)),
                  pg_maybe(arena, take_copy, payment_id, NULL));
}

enum store_result store_add_between_booked(struct pg *pg, int32_t host, int64_t line, struct date day,
                                           const struct between_booked_row *row)
{
    return pg_run(pg, &sql_between_booked_add,
                  PG_ARGS(arg_int(host), arg_int(line), arg_int(row->home), arg_text(row->payment_id),
                          arg_date(day), arg_int(row->agreed.minor), arg_int(row->booked.minor)));
}

enum store_result store_bank_payments(struct pg *pg, struct arena *arena, int32_t scheme,
                                      const struct payment_ids *ids, struct bank_payment **payments,
                                      size_t *found)
{
    return pg_ask(pg, &sql_bank_payments, PG_ARGS(arg_int(scheme), arg_texts(ARRAY(ids->items, ids->count))),
                  PG_LIST(arena, take_payment, NULL, payments, found));
}

static void take_seen(struct pg_row *row, void *into)
{
    struct lines_seen *seen = into;
    seen->indices = row_ints(row, &seen->count);
}

enum store_result store_lines_seen(struct pg *pg, struct arena *arena, int32_t scheme,
                                   const struct sha256 *identities, size_t count, struct lines_seen *seen)
{
    return pg_ask(
        pg, &sql_bank_lines_seen,
        PG_ARGS(arg_int(scheme), arg_bytes_array(identities, SHA256_SIZE, count, sizeof *identities)),
        pg_one(arena, take_seen, seen));
}

enum store_result store_add_lines(struct pg *pg, int32_t scheme, const struct statement_numbers *numbers,
                                  struct date day, const struct bank_line_row *rows, size_t count)
{
    return pg_run(
        pg, &sql_bank_lines_add,
        PG_ARGS(arg_int(scheme), arg_int(numbers->statement), arg_int(numbers->last_line),
                arg_texts(COLUMN(rows, count, booked_on)), arg_int8s(COLUMN(rows, count, amount.minor)),
                arg_texts(COLUMN(rows, count, end_to_end)), arg_texts(COLUMN(rows, count, reference)),
                arg_bools(COLUMN(rows, count, returned)), arg_texts(COLUMN(rows, count, return_reason)),
                arg_texts(COLUMN(rows, count, identity)), arg_texts(COLUMN(rows, count, disposition)),
                arg_texts(COLUMN(rows, count, payment_id)), arg_int8s(COLUMN(rows, count, entry)),
                arg_date(day), arg_int4s(COLUMN(rows, count, between.home)),
                arg_int8s(COLUMN(rows, count, between.agreed.minor)),
                arg_int8s(COLUMN(rows, count, between.booked.minor))));
}

static void take_line(struct pg_row *row, void *into)
{
    struct bank_line *line = into;
    line->amount.minor = row_int(row);
    line->open = row_bool(row);
    line->is_stranger = row_bool(row);
}

enum store_result store_find_line(struct pg *pg, int32_t scheme, int64_t number, struct bank_line *line,
                                  bool *found)
{
    return pg_ask(pg, &sql_bank_line_find, PG_ARGS(arg_int(scheme), arg_int(number)),
                  pg_maybe(NULL, take_line, line, found));
}

enum store_result store_reads_statements(struct pg *pg, int32_t scheme, bool *reads)
{
    *reads = false;
    return pg_ask(pg, &sql_statement_any, PG_ARGS(arg_int(scheme)), pg_one(NULL, take_bool, reads));
}

static void take_money(struct pg_row *row, void *into)
{
    struct money *amount = into;
    amount->minor = row_int(row);
}

enum store_result store_withdrawable(struct pg *pg, int32_t scheme, struct date today, struct money *amount)
{
    *amount = (struct money){0};
    return pg_ask(pg, &sql_withdrawable, PG_ARGS(arg_int(scheme), arg_date(today)),
                  pg_one(NULL, take_money, amount));
}

enum store_result store_add_resolution(struct pg *pg, const struct bank_resolution_row *row)
{
    return pg_run(pg, &sql_bank_line_resolve,
                  PG_ARGS(arg_int(row->scheme), arg_int(row->line), arg_instant(row->resolved_at),
                          arg_int(row->key), arg_text(row->note), arg_text(row->payment_id),
                          arg_bool(row->came_back), arg_int(row->participant), arg_text(row->account),
                          arg_int8s(ARRAY(row->entries, row->entry_count)), arg_int(row->proposal)));
}

enum store_result read_statements_taken(struct pg *pg, int32_t scheme, const int64_t *statements,
                                        size_t count, struct buffer *json)
{
    return pg_ask(pg, &sql_statements_get, PG_ARGS(arg_int(scheme), arg_int8s(ARRAY(statements, count))),
                  pg_one(NULL, take_text, json));
}

enum store_result read_bank_statements(struct pg *pg, const struct statements_filter *filter,
                                       const struct key_slice *wanted, struct buffer *json,
                                       struct json_slice *slice)
{
    return json_slice_read_way(pg, SQL_WAYS(sql_statements_list), &wanted->asked,
                               PG_ARGS(arg_int(filter->scheme), arg_text(wanted->after),
                                       arg_limit(wanted->asked.limit), arg_date_at(filter->from),
                                       arg_date_at(filter->to)),
                               json, slice);
}

enum store_result read_bank_statement(struct pg *pg, int32_t scheme, int64_t statement, int lines,
                                      struct buffer *json, bool *found)
{
    return pg_ask(pg, &sql_statement_get, PG_ARGS(arg_int(scheme), arg_int(statement), arg_int(lines)),
                  pg_maybe(NULL, take_text, json, found));
}

static void take_message(struct pg_row *row, void *into)
{
    const struct file_reader *reader = into;
    row_append_bytes(row, reader->content);
    row_text_into(row, reader->hash, SHA256_HEX_MAX);
}

enum store_result read_bank_message(struct pg *pg, int32_t scheme, int64_t statement, struct buffer *content,
                                    char hash[static SHA256_HEX_MAX], bool *found)
{
    struct file_reader reader = {NULL, content, hash};
    return pg_ask(pg, &sql_statement_message, PG_ARGS(arg_int(scheme), arg_int(statement)),
                  pg_maybe(NULL, take_message, &reader, found));
}

enum store_result read_bank_lines(struct pg *pg, const struct bank_lines_filter *filter,
                                  struct list_slice *slice)
{
    return read_list_way(pg, SQL_WAYS(sql_bank_lines_list),
                         PG_ARGS(arg_int(filter->scheme), arg_int(slice->after), arg_limit(slice->limit),
                                 arg_bool_at(filter->open), arg_id(filter->statement)),
                         slice);
}

enum store_result read_bank_line(struct pg *pg, int32_t scheme, int64_t line, struct buffer *json,
                                 bool *found)
{
    return pg_ask(pg, &sql_bank_line_get, PG_ARGS(arg_int(scheme), arg_int(line)),
                  pg_maybe(NULL, take_text, json, found));
}

enum store_result read_bank_line_candidates(struct pg *pg, int32_t scheme, int64_t line, struct buffer *json,
                                            bool *found)
{
    return pg_ask(pg, &sql_bank_line_candidates, PG_ARGS(arg_int(scheme), arg_int(line)),
                  pg_maybe(NULL, take_text, json, found));
}
