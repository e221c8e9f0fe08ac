/* SPDX-License-Identifier: ISC */
/* Values come in PostgreSQL's text form, and are checked against the type that the server says they have. */
#include "store/pg_row.h"

#include "base/memory.h"
#include "store/pg_inside.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

/* A date that date_parse never gives. */
#define DATE_BEYOND ((struct date){INT32_MAX})

static const PGresult *result_of(const struct pg_rows *rows)
{
    return (const PGresult *)rows;
}

void pg_rows_free(struct pg_rows **rows)
{
    PQclear((PGresult *)*rows);
    *rows = NULL;
}

/* --- cells ---------------------------------------------------------------------------------------------- */

struct cell {
    const char *text; /* NULL: the column is NULL, or the row has failed */
    size_t length;
    unsigned type;
};

bool row_is_null(const struct pg_row *row)
{
    return row->failed || row->column >= PQnfields(result_of(row->rows)) ||
           PQgetisnull(result_of(row->rows), row->index, row->column) != 0;
}

void row_check(struct pg_row *row, bool is_sound)
{
    row->failed = row->failed || !is_sound;
}

void row_check_memory(struct pg_row *row, const void *memory)
{
    row->no_memory = row->no_memory || (!row->failed && memory == NULL);
    row_check(row, memory != NULL);
}

static struct cell next_or_null(struct pg_row *row)
{
    const PGresult *result = result_of(row->rows);
    struct cell cell = {0};
    row_check(row, row->column < PQnfields(result));
    if (row->failed)
        return cell;
    if (PQgetisnull(result, row->index, row->column) == 0)
        cell =
            (struct cell){PQgetvalue(result, row->index, row->column),
                          (size_t)PQgetlength(result, row->index, row->column), PQftype(result, row->column)};
    row->column++;
    return cell;
}

/* Steps back, so that the log names the column that was wrong. */
static void fail_last(struct pg_row *row)
{
    if (!row->failed)
        row->column--;
    row->failed = true;
}

static struct cell next(struct pg_row *row)
{
    struct cell cell = next_or_null(row);
    if (cell.text == NULL)
        fail_last(row);
    return cell;
}

void row_skip(struct pg_row *row)
{
    (void)next_or_null(row);
}

void row_skip_rest(struct pg_row *row)
{
    if (!row->failed)
        row->column = PQnfields(result_of(row->rows));
}

/* --- numbers, dates ------------------------------------------------------------------------------------- */

static bool is_integer(unsigned type)
{
    return type == PG_TYPE_INT8 || type == PG_TYPE_INT4 || type == PG_TYPE_INT2 || type == PG_TYPE_NUMERIC;
}

static int64_t int_of(struct pg_row *row, struct cell cell, int64_t least, int64_t most)
{
    char *end;
    if (cell.text == NULL)
        return 0;
    errno = 0;
    long long number = strtoll(cell.text, &end, 10);
    if (is_integer(cell.type) && end != cell.text && *end == '\0' && errno == 0 && number >= least &&
        number <= most)
        return number;
    fail_last(row);
    return 0;
}

int64_t row_int(struct pg_row *row)
{
    return int_of(row, next(row), INT64_MIN, INT64_MAX);
}

int64_t row_int_or_0(struct pg_row *row)
{
    return int_of(row, next_or_null(row), INT64_MIN, INT64_MAX);
}

int32_t row_int32(struct pg_row *row)
{
    return (int32_t)int_of(row, next(row), INT32_MIN, INT32_MAX);
}

int32_t row_int32_or_0(struct pg_row *row)
{
    return (int32_t)int_of(row, next_or_null(row), INT32_MIN, INT32_MAX);
}

static bool bool_of(struct pg_row *row, struct cell cell)
{
    if (cell.text != NULL && cell.type != PG_TYPE_BOOL)
        fail_last(row);
    return cell.text != NULL && !row->failed && *cell.text == 't';
}

bool row_bool(struct pg_row *row)
{
    return bool_of(row, next(row));
}

bool row_bool_or_false(struct pg_row *row)
{
    return bool_of(row, next_or_null(row));
}

struct date row_date(struct pg_row *row)
{
    struct date date;
    struct cell cell = next(row);
    if (cell.text == NULL)
        return (struct date){0};
    if (cell.type != PG_TYPE_DATE) {
        fail_last(row);
        return (struct date){0};
    }
    return date_parse(cell.text, cell.length, &date) ? date : DATE_BEYOND;
}

struct date row_date_or(struct pg_row *row, struct date if_null)
{
    if (row->failed || !row_is_null(row))
        return row_date(row);
    row_skip(row);
    return if_null;
}

struct instant row_instant(struct pg_row *row)
{
    return (struct instant){row_int(row)};
}

struct instant row_instant_or(struct pg_row *row, struct instant if_null)
{
    if (row->failed || !row_is_null(row))
        return row_instant(row);
    row_skip(row);
    return if_null;
}

struct uuid row_uuid(struct pg_row *row)
{
    struct uuid uuid = {0};
    struct cell cell = next(row);
    if (cell.text != NULL && (cell.type != PG_TYPE_UUID || !uuid_parse(cell.text, cell.length, &uuid)))
        fail_last(row);
    return uuid;
}

/* --- texts ---------------------------------------------------------------------------------------------- */

const char *row_text_or_null(struct pg_row *row)
{
    return next_or_null(row).text;
}

const char *row_text(struct pg_row *row)
{
    const char *text = next(row).text;
    return text != NULL ? text : "";
}

void row_text_into(struct pg_row *row, char *text, size_t size)
{
    struct cell cell = next(row);
    *text = '\0';
    if (cell.text != NULL && cell.length < size)
        memcpy(text, cell.text, cell.length + 1);
    else
        fail_last(row);
}

static char *copy_of(struct pg_row *row, const char *text, size_t length)
{
    char *copy = arena_copy(row->arena, text, length);
    row_check_memory(row, copy);
    return copy;
}

char *row_copy_or_null(struct pg_row *row)
{
    struct cell cell = next_or_null(row);
    return cell.text != NULL ? copy_of(row, cell.text, cell.length) : NULL;
}

char *row_copy(struct pg_row *row)
{
    struct cell cell = next(row);
    return cell.text != NULL ? copy_of(row, cell.text, cell.length) : NULL;
}

char *row_copy_or_empty(struct pg_row *row)
{
    struct cell cell = next_or_null(row);
    return row->failed ? NULL : copy_of(row, cell.text != NULL ? cell.text : "", cell.length);
}

void row_append(struct pg_row *row, struct buffer *buffer)
{
    struct cell cell = next(row);
    if (cell.text != NULL)
        buffer_add(buffer, cell.text, cell.length);
}

unsigned row_word(struct pg_row *row, const char *const *words, size_t count)
{
    const char *text = row_text(row);
    for (unsigned i = 0; i < count; i++)
        if (strcmp(words[i], text) == 0)
            return i;
    fail_last(row);
    return 0;
}

/* --- bytes ---------------------------------------------------------------------------------------------- */

static unsigned hex_digit(char digit)
{
    return (unsigned)(digit <= '9' ? digit - '0' : digit - 'a' + 10);
}

/* bytea comes as \x and two digits a byte. */
static size_t byte_count(struct cell cell)
{
    return cell.length / 2 - 1;
}

static struct cell bytea_of(struct pg_row *row, struct cell cell)
{
    if (cell.text == NULL || (cell.type == PG_TYPE_BYTEA && cell.length >= 2 && cell.text[1] == 'x'))
        return cell;
    fail_last(row);
    return (struct cell){0};
}

static void decode(struct cell cell, uint8_t *bytes)
{
    for (size_t i = 0; i < byte_count(cell); i++)
        bytes[i] = (uint8_t)(hex_digit(cell.text[2 + 2 * i]) << 4 | hex_digit(cell.text[3 + 2 * i]));
}

size_t row_bytes_at_most(struct pg_row *row, void *bytes, size_t size)
{
    struct cell cell = bytea_of(row, next(row));
    if (cell.text != NULL && byte_count(cell) <= size) {
        decode(cell, bytes);
        return byte_count(cell);
    }
    fail_last(row);
    return 0;
}

void row_bytes(struct pg_row *row, void *bytes, size_t size)
{
    if (row_bytes_at_most(row, bytes, size) != size)
        fail_last(row);
}

uint8_t *row_copy_bytes(struct pg_row *row, size_t *size)
{
    struct cell cell = bytea_of(row, next(row));
    *size = 0;
    if (cell.text == NULL)
        return NULL;
    uint8_t *bytes = arena_alloc(row->arena, byte_count(cell) + 1);
    row_check_memory(row, bytes);
    if (bytes == NULL)
        return NULL;
    decode(cell, bytes);
    *size = byte_count(cell);
    return bytes;
}

void row_append_bytes(struct pg_row *row, struct buffer *buffer)
{
    struct cell cell = bytea_of(row, next(row));
    if (cell.text == NULL)
        return;
    uint8_t *bytes = memory_allocate(byte_count(cell) + 1);
    row_check_memory(row, bytes);
    if (bytes == NULL)
        return;
    decode(cell, bytes);
    buffer_add(buffer, bytes, byte_count(cell));
    free(bytes);
}

void row_hashes(struct pg_row *row, void *hashes, size_t size)
{
    struct cell cell = bytea_of(row, next_or_null(row));
    if (cell.text != NULL && byte_count(cell) == size)
        decode(cell, hashes);
    else
        memset(hashes, 0xff, size);
}

/* --- lists ---------------------------------------------------------------------------------------------- */

static size_t commas_in(const char *text)
{
    size_t count = 0;
    for (; *text != '\0'; text++)
        count += *text == ',';
    return count;
}

/* Reads the numbers of {1,2,…} after the opening brace. False: the text has anything else. */
static bool parse_ints(const char *text, int64_t *numbers, size_t *count)
{
    for (char *end; *text != '}' || *count > 0; text = end + 1) {
        errno = 0;
        long long number = strtoll(text, &end, 10);
        if (end == text || errno != 0)
            return false;
        numbers[(*count)++] = number;
        if (*end == '}')
            return end[1] == '\0';
        if (*end != ',')
            return false;
    }
    return text[1] == '\0';
}

int64_t *row_ints_of_text(struct pg_row *row, const char *text, size_t *count)
{
    *count = 0;
    if (row->failed)
        return NULL;
    int64_t *numbers = arena_array(row->arena, commas_in(text) + 1, sizeof *numbers);
    row_check_memory(row, numbers);
    if (numbers != NULL)
        row_check(row, *text == '{' && parse_ints(text + 1, numbers, count));
    return numbers;
}

int64_t *row_ints(struct pg_row *row, size_t *count)
{
    const char *text = next_or_null(row).text;
    return row_ints_of_text(row, text != NULL ? text : "{}", count);
}

int64_t *row_ints_of(struct pg_row *row, size_t count)
{
    size_t found;
    int64_t *numbers = row_ints(row, &found);
    row_check(row, found == count);
    return numbers;
}

bool row_end(struct pg_row *row)
{
    row_check(row, row->column == PQnfields(result_of(row->rows)));
    return !row->failed;
}
