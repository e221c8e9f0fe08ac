/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/bank_store.h"

#include "sql.h"

#include <stdlib.h>
#include <string.h>

/* ---- reading cells ---- */

/* A copy in the arena; null is NULL. False: no memory. */
static bool copy_text(const struct pg_rows *rows, int row, int column, struct arena *arena, const char **text)
{
    *text = NULL;
    if (pg_is_null(rows, row, column))
        return true;
    *text = arena_copy(arena, pg_text(rows, row, column), pg_length(rows, row, column));
    return *text != NULL;
}

/* iban, account, bank_code and bic, from this column on. */
static bool copy_account(const struct pg_rows *rows, int row, int column, struct arena *arena,
                         struct bank_party *party)
{
    return copy_text(rows, row, column, arena, &party->iban) &&
           copy_text(rows, row, column + 1, arena, &party->account) &&
           copy_text(rows, row, column + 2, arena, &party->bank_code) &&
           copy_text(rows, row, column + 3, arena, &party->bic);
}

enum store_result store_bank_operator(struct pg *pg, struct arena *arena, int32_t scheme,
                                      struct bank_operator *bank_operator)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    enum store_result result = pg_query(pg, &sql_bank_operator, &params, &rows);
    if (result != STORE_OK)
        return result;
    *bank_operator = (struct bank_operator){0};
    bool read = pg_row_count(rows) == 1 && copy_text(rows, 0, 0, arena, &bank_operator->party.name) &&
                copy_account(rows, 0, 1, arena, &bank_operator->party) &&
                copy_text(rows, 0, 5, arena, &bank_operator->creditor_id) &&
                uuid_parse(pg_text(rows, 0, 6), pg_length(rows, 0, 6), &bank_operator->new_id);
    return read ? STORE_OK : STORE_FAILED;
}

/* ---- files ---- */

static bool read_order(const struct pg_rows *rows, int row, struct arena *arena, struct bank_order *order)
{
    order->amount = (struct money){pg_int(rows, row, 2)};
    order->due_on = pg_date(rows, row, 3);
    order->account_changed = pg_bool(rows, row, 12);
    order->first = pg_bool(rows, row, 13);
    if (!pg_is_null(rows, row, 11))
        order->mandate_signed_on = pg_date(rows, row, 11);
    return copy_text(rows, row, 1, arena, &order->payment_id) &&
           copy_text(rows, row, 4, arena, &order->participant) &&
           copy_text(rows, row, 5, arena, &order->party.name) &&
           copy_account(rows, row, 6, arena, &order->party) &&
           copy_text(rows, row, 10, arena, &order->mandate_id);
}

enum store_result store_bank_orders(struct pg *pg, struct arena *arena, int32_t scheme, struct date day,
                                    bool collections, struct bank_order **orders, size_t *count, bool *closed)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_date(&params, day);
    pg_add_bool(&params, collections);
    enum store_result result = pg_query(pg, &sql_file_orders, &params, &rows);
    if (result != STORE_OK)
        return result;
    *closed = pg_bool(rows, 0, 0);
    *count = pg_is_null(rows, 0, 1) ? 0 : (size_t)pg_row_count(rows);
    *orders = arena_array(arena, *count + 1, sizeof **orders);
    if (*orders == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < *count; i++)
        if (!read_order(rows, (int)i, arena, &(*orders)[i]))
            return STORE_FAILED;
    return STORE_OK;
}

enum store_result store_add_file(struct pg *pg, struct arena *arena, const struct payment_file_row *row)
{
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int(&params, row->scheme);
    pg_add_uuid(&params, &row->file_id);
    pg_add_date(&params, row->day);
    pg_add_text(&params, row->collections ? "collections" : "payouts");
    pg_add_text(&params, row->message_id);
    pg_add_instant(&params, row->created_at);
    pg_add_int(&params, row->key);
    pg_add_int(&params, row->total.minor);
    pg_add_bytes(&params, row->content, row->length);
    pg_add_bytes(&params, row->hash.bytes, sizeof row->hash.bytes);
    pg_add_text_array(&params, row->payment_ids, row->count);
    pg_add_text_array(&params, row->mandates, row->count);
    return pg_query(pg, &sql_file_add, &params, NULL);
}

/* A bytea cell. */
static void add_bytes(const struct pg_rows *rows, int row, int column, struct buffer *bytes)
{
    size_t size = pg_length(rows, row, column) / 2;
    char *memory = malloc(size + 1);
    if (memory != NULL)
        buffer_add(bytes, memory, pg_bytes(rows, row, column, memory, size));
    else
        bytes->failed = true;
    free(memory);
}

enum store_result read_file(struct pg *pg, const struct uuid *id, struct buffer *json, struct buffer *content,
                            char hash[static SHA256_HEX_MAX], bool *found)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_uuid(&params, id);
    enum store_result result = pg_query(pg, &sql_file_get, &params, &rows);
    if (result != STORE_OK)
        return result;
    *found = pg_row_count(rows) > 0;
    if (!*found)
        return STORE_OK;
    if (json != NULL)
        buffer_add(json, pg_text(rows, 0, 0), pg_length(rows, 0, 0));
    if (content != NULL)
        add_bytes(rows, 0, 1, content);
    memcpy(hash, pg_text(rows, 0, 2), SHA256_HEX_MAX);
    return STORE_OK;
}

enum store_result read_files(struct pg *pg, int32_t scheme, struct date day, struct list_slice *slice)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_date(&params, day);
    pg_add_int(&params, slice->after);
    json_slice_limit(&params, slice->limit);
    return read_list_slice(pg, &sql_files_list, &params, slice);
}

/* ---- statements ---- */

enum store_result store_find_statement(struct pg *pg, int32_t scheme, const char *account,
                                       const char *statement_id, int64_t *statement, struct sha256 *digest)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_text(&params, account);
    pg_add_text(&params, statement_id);
    enum store_result result = pg_query(pg, &sql_statement_find, &params, &rows);
    if (result != STORE_OK)
        return result;
    *statement = pg_row_count(rows) > 0 ? pg_int(rows, 0, 0) : 0;
    if (*statement != 0 && pg_bytes(rows, 0, 1, digest->bytes, sizeof digest->bytes) != sizeof digest->bytes)
        return STORE_FAILED;
    return STORE_OK;
}

enum store_result store_add_document(struct pg *pg, const struct bank_document_row *row, int64_t *document)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, row->scheme);
    pg_add_instant(&params, row->received_at);
    pg_add_int(&params, row->key);
    pg_add_text(&params, row->message_id);
    pg_add_bytes(&params, row->content, row->length);
    pg_add_bytes(&params, row->hash.bytes, sizeof row->hash.bytes);
    enum store_result result = pg_query(pg, &sql_document_add, &params, &rows);
    if (result == STORE_OK)
        *document = pg_int(rows, 0, 0);
    return result;
}

enum store_result store_add_statement(struct pg *pg, struct arena *arena,
                                      const struct bank_statement_row *row, int64_t *statement,
                                      int64_t *last_line)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int(&params, row->scheme);
    pg_add_int(&params, row->document);
    pg_add_text(&params, row->account);
    pg_add_text(&params, row->statement_id);
    pg_add_bytes(&params, row->digest.bytes, sizeof row->digest.bytes);
    pg_add_text_array(&params, row->balance_codes, row->balance_count);
    pg_add_int8_array(&params, row->balance_amounts, row->balance_count);
    pg_add_date_array(&params, row->balance_days, row->balance_count);
    enum store_result result = pg_query(pg, &sql_statement_add, &params, &rows);
    if (result == STORE_OK) {
        *statement = pg_int(rows, 0, 0);
        *last_line = pg_int(rows, 0, 1);
    }
    return result;
}

static bool read_payment_row(const struct pg_rows *rows, int row, struct arena *arena,
                             struct bank_payment *payment)
{
    payment->payer = (int32_t)pg_int(rows, row, 2);
    payment->payee = (int32_t)pg_int(rows, row, 3);
    payment->amount = (struct money){pg_int(rows, row, 4)};
    payment->confirmed = pg_bool(rows, row, 5);
    payment->taken = pg_bool(rows, row, 6);
    payment->came_back = pg_bool(rows, row, 7);
    return copy_text(rows, row, 0, arena, &payment->payment_id) &&
           payment_status_parse(pg_text(rows, row, 1), &payment->status);
}

enum store_result store_bank_payments(struct pg *pg, struct arena *arena, int32_t scheme,
                                      const char *const *ids, size_t count, struct bank_payment **payments,
                                      size_t *found)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int(&params, scheme);
    pg_add_text_array(&params, ids, count);
    enum store_result result = pg_query(pg, &sql_bank_payments, &params, &rows);
    if (result != STORE_OK)
        return result;
    *found = (size_t)pg_row_count(rows);
    *payments = arena_array(arena, *found + 1, sizeof **payments);
    if (*payments == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < *found; i++)
        if (!read_payment_row(rows, (int)i, arena, &(*payments)[i]))
            return STORE_FAILED;
    return STORE_OK;
}

enum store_result store_lines_seen(struct pg *pg, struct arena *arena, int32_t scheme,
                                   const struct sha256 *identities, size_t count, int64_t **seen,
                                   size_t *seen_count)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int(&params, scheme);
    pg_add_bytes_array(&params, identities, sizeof *identities, count);
    enum store_result result = pg_query(pg, &sql_bank_lines_seen, &params, &rows);
    if (result != STORE_OK)
        return result;
    return pg_int8_list(rows, 0, 0, arena, seen, seen_count) ? STORE_OK : STORE_FAILED;
}

/* The texts that stand at this offset in the rows. */
static void add_texts(struct pg_params *params, const struct bank_line_row *rows, size_t count, size_t offset)
{
    const char **texts = arena_array(params->arena, count + 1, sizeof *texts);
    params->failed = params->failed || texts == NULL;
    for (size_t i = 0; i < count && texts != NULL; i++)
        memcpy(&texts[i], (const char *)&rows[i] + offset, sizeof texts[i]);
    pg_add_text_array(params, texts, texts != NULL ? count : 0);
}

enum store_result store_add_lines(struct pg *pg, struct arena *arena, int32_t scheme, int64_t statement,
                                  int64_t last_line, const struct bank_line_row *rows, size_t count)
{
    struct pg_params params;
    int64_t *amounts = arena_array(arena, count + 1, sizeof *amounts);
    int64_t *entries = arena_array(arena, count + 1, sizeof *entries);
    bool *returned = arena_array(arena, count + 1, sizeof *returned);
    if (amounts == NULL || entries == NULL || returned == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < count; i++) {
        amounts[i] = rows[i].amount.minor;
        entries[i] = rows[i].entry;
        returned[i] = rows[i].returned;
    }
    pg_params_init(&params, arena);
    pg_add_int(&params, scheme);
    pg_add_int(&params, statement);
    pg_add_int(&params, last_line);
    add_texts(&params, rows, count, offsetof(struct bank_line_row, booked_on));
    pg_add_int8_array(&params, amounts, count);
    add_texts(&params, rows, count, offsetof(struct bank_line_row, end_to_end));
    add_texts(&params, rows, count, offsetof(struct bank_line_row, reference));
    pg_add_bool_array(&params, returned, count);
    add_texts(&params, rows, count, offsetof(struct bank_line_row, return_reason));
    add_texts(&params, rows, count, offsetof(struct bank_line_row, identity));
    add_texts(&params, rows, count, offsetof(struct bank_line_row, disposition));
    add_texts(&params, rows, count, offsetof(struct bank_line_row, payment_id));
    pg_add_int8_array(&params, entries, count);
    return pg_query(pg, &sql_bank_lines_add, &params, NULL);
}

enum store_result store_find_line(struct pg *pg, int32_t scheme, int64_t line, struct money *amount,
                                  bool *is_stranger, bool *open, bool *found)
{
    PG_ROWS rows = NULL;
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_int(&params, line);
    enum store_result result = pg_query(pg, &sql_bank_line_find, &params, &rows);
    if (result != STORE_OK)
        return result;
    *found = pg_row_count(rows) > 0;
    if (*found) {
        *amount = (struct money){pg_int(rows, 0, 0)};
        *open = pg_bool(rows, 0, 1);
        *is_stranger = pg_bool(rows, 0, 2);
    }
    return STORE_OK;
}

enum store_result store_add_resolution(struct pg *pg, struct arena *arena,
                                       const struct bank_resolution_row *row)
{
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int(&params, row->scheme);
    pg_add_int(&params, row->line);
    pg_add_instant(&params, row->resolved_at);
    pg_add_int(&params, row->key);
    pg_add_text(&params, row->note);
    pg_add_text(&params, row->payment_id);
    pg_add_bool(&params, row->came_back);
    pg_add_int(&params, row->participant);
    pg_add_text(&params, row->account);
    pg_add_int8_array(&params, row->entries, row->entry_count);
    pg_add_int(&params, row->proposal);
    return pg_query(pg, &sql_bank_line_resolve, &params, NULL);
}

static enum store_result read_json(struct pg *pg, const struct sql *sql, const struct pg_params *params,
                                   struct buffer *json)
{
    PG_ROWS rows = NULL;
    enum store_result result = pg_query(pg, sql, params, &rows);
    if (result == STORE_OK && pg_row_count(rows) != 1)
        return STORE_FAILED;
    if (result == STORE_OK)
        buffer_add(json, pg_text(rows, 0, 0), pg_length(rows, 0, 0));
    return result;
}

enum store_result read_statements_taken(struct pg *pg, struct arena *arena, int32_t scheme,
                                        const int64_t *statements, size_t count, struct buffer *json)
{
    struct pg_params params;
    pg_params_init(&params, arena);
    pg_add_int(&params, scheme);
    pg_add_int8_array(&params, statements, count);
    return read_json(pg, &sql_statements_get, &params, json);
}

enum store_result read_bank_statements(struct pg *pg, int32_t scheme, struct list_slice *slice)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_int(&params, slice->after);
    json_slice_limit(&params, slice->limit);
    return read_list_slice(pg, &sql_statements_list, &params, slice);
}

enum store_result read_bank_lines(struct pg *pg, int32_t scheme, const bool *open, struct list_slice *slice)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_int(&params, slice->after);
    json_slice_limit(&params, slice->limit);
    if (open != NULL)
        pg_add_bool(&params, *open);
    else
        pg_add_null(&params);
    return read_list_slice(pg, &sql_bank_lines_list, &params, slice);
}

enum store_result read_bank_line(struct pg *pg, int32_t scheme, int64_t line, struct buffer *json)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    pg_add_int(&params, scheme);
    pg_add_int(&params, line);
    return read_json(pg, &sql_bank_line_get, &params, json);
}
