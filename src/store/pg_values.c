/* SPDX-License-Identifier: ISC */
/* Parameters in (arrays in PostgreSQL's binary form) and values out (from its text form). */
#include "store/pg_values.h"

#include <arpa/inet.h>
#include <assert.h>
#include <endian.h>
#include <libpq-fe.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Type oids of pg_type.dat: fixed for ever in PostgreSQL. */
enum { BOOL = 16, BYTEA = 17, INT8 = 20, INT4 = 23, TEXT = 25, DATE = 1082, TIMESTAMPTZ = 1184, UUID = 2950 };
enum {
    BOOL_ARRAY = 1000,
    BYTEA_ARRAY = 1001,
    INT4_ARRAY = 1007,
    TEXT_ARRAY = 1009,
    INT8_ARRAY = 1016,
    DATE_ARRAY = 1182,
    TIMESTAMPTZ_ARRAY = 1185,
    UUID_ARRAY = 2951
};
enum { FORMAT_TEXT = 0, FORMAT_BINARY = 1 };

/* PostgreSQL counts from 2000-01-01, we from 1970-01-01. */
#define EPOCH_DAYS 10957
#define EPOCH_US   (INT64_C(86400000000) * EPOCH_DAYS)

void pg_params_init(struct pg_params *params, struct arena *arena)
{
    params->arena = arena;
    params->count = 0;
    params->failed = false;
}

static void add(struct pg_params *params, unsigned type, const void *value, size_t length, int format)
{
    assert(params->count < PG_PARAMS_MAX);
    int at = params->count++;
    params->types[at] = type;
    params->values[at] = value;
    params->lengths[at] = (int)length;
    params->formats[at] = format;
}

void pg_add_null(struct pg_params *params)
{
    add(params, 0, NULL, 0, FORMAT_TEXT);
}

void pg_add_text(struct pg_params *params, const char *text)
{
    add(params, 0, text, 0, FORMAT_TEXT);
}

void pg_add_int(struct pg_params *params, int64_t number)
{
    char *text = params->numbers[params->count];
    snprintf(text, sizeof params->numbers[0], "%lld", (long long)number);
    add(params, 0, text, 0, FORMAT_TEXT);
}

void pg_add_bool(struct pg_params *params, bool value)
{
    add(params, BOOL, value ? "t" : "f", 0, FORMAT_TEXT);
}

void pg_add_bytes(struct pg_params *params, const void *bytes, size_t length)
{
    add(params, BYTEA, bytes, length, FORMAT_BINARY);
}

void pg_add_date(struct pg_params *params, struct date date)
{
    char *text = params->numbers[params->count];
    date_format(date, text);
    add(params, DATE, text, 0, FORMAT_TEXT);
}

void pg_add_instant(struct pg_params *params, struct instant instant)
{
    char *text = params->numbers[params->count];
    instant_format(instant, text);
    add(params, TIMESTAMPTZ, text, 0, FORMAT_TEXT);
}

void pg_add_uuid(struct pg_params *params, const struct uuid *uuid)
{
    add(params, UUID, uuid->bytes, sizeof uuid->bytes, FORMAT_BINARY);
}

/* A binary array under construction: a header, then each element as its length and its bytes. */
struct array {
    char *start;
    char *end;
};

static void put32(struct array *array, int32_t number)
{
    uint32_t network = htonl((uint32_t)number);
    memcpy(array->end, &network, sizeof network);
    array->end += sizeof network;
}

static void put64(struct array *array, int64_t number)
{
    uint64_t network = htobe64((uint64_t)number);
    memcpy(array->end, &network, sizeof network);
    array->end += sizeof network;
}

static void put_bytes(struct array *array, const void *bytes, size_t length)
{
    put32(array, (int32_t)length);
    memcpy(array->end, bytes, length);
    array->end += length;
}

/* Begins an array of `count` elements whose bytes are `content` in all. False: no memory for it, or there was
 * none for the items that are to go into it. */
static bool array_begin(struct pg_params *params, struct array *array, unsigned element, const void *items,
                        size_t count, size_t content)
{
    bool there = params->arena != NULL && (items != NULL || count == 0);
    array->start = there ? arena_alloc(params->arena, 20 + 4 * count + content) : NULL;
    array->end = array->start;
    if (array->start == NULL) {
        params->failed = true;
        return false;
    }
    put32(array, count > 0); /* dimensions */
    put32(array, 1);         /* there may be nulls */
    put32(array, (int32_t)element);
    if (count > 0) {
        put32(array, (int32_t)count);
        put32(array, 1); /* lower bound */
    }
    return true;
}

static void array_end(struct pg_params *params, struct array *array, unsigned type)
{
    add(params, type, array->start, (size_t)(array->end - array->start), FORMAT_BINARY);
}

void pg_add_int8_array(struct pg_params *params, const int64_t *numbers, size_t count)
{
    struct array array;
    if (!array_begin(params, &array, INT8, numbers, count, 8 * count))
        return;
    for (size_t i = 0; i < count; i++) {
        put32(&array, 8);
        put64(&array, numbers[i]);
    }
    array_end(params, &array, INT8_ARRAY);
}

void pg_add_int4_array(struct pg_params *params, const int32_t *numbers, size_t count)
{
    struct array array;
    if (!array_begin(params, &array, INT4, numbers, count, 4 * count))
        return;
    for (size_t i = 0; i < count; i++) {
        put32(&array, 4);
        put32(&array, numbers[i]);
    }
    array_end(params, &array, INT4_ARRAY);
}

void pg_add_bool_array(struct pg_params *params, const bool *values, size_t count)
{
    struct array array;
    if (!array_begin(params, &array, BOOL, values, count, count))
        return;
    for (size_t i = 0; i < count; i++)
        put_bytes(&array, values[i] ? "\1" : "\0", 1);
    array_end(params, &array, BOOL_ARRAY);
}

void pg_add_text_array(struct pg_params *params, const char *const *texts, size_t count)
{
    struct array array;
    size_t content = 0;
    for (size_t i = 0; texts != NULL && i < count; i++)
        content += texts[i] != NULL ? strlen(texts[i]) : 0;
    if (!array_begin(params, &array, TEXT, texts, count, content))
        return;
    for (size_t i = 0; i < count; i++)
        if (texts[i] != NULL)
            put_bytes(&array, texts[i], strlen(texts[i]));
        else
            put32(&array, -1);
    array_end(params, &array, TEXT_ARRAY);
}

void pg_add_uuid_array(struct pg_params *params, const struct uuid *uuids, size_t count)
{
    struct array array;
    if (!array_begin(params, &array, UUID, uuids, count, sizeof uuids->bytes * count))
        return;
    for (size_t i = 0; i < count; i++)
        put_bytes(&array, uuids[i].bytes, sizeof uuids[i].bytes);
    array_end(params, &array, UUID_ARRAY);
}

void pg_add_date_array(struct pg_params *params, const struct date *dates, size_t count)
{
    struct array array;
    if (!array_begin(params, &array, DATE, dates, count, 4 * count))
        return;
    for (size_t i = 0; i < count; i++) {
        put32(&array, 4);
        put32(&array, dates[i].days - EPOCH_DAYS);
    }
    array_end(params, &array, DATE_ARRAY);
}

void pg_add_instant_array(struct pg_params *params, const struct instant *instants, size_t count)
{
    struct array array;
    if (!array_begin(params, &array, TIMESTAMPTZ, instants, count, 8 * count))
        return;
    for (size_t i = 0; i < count; i++) {
        put32(&array, 8);
        put64(&array, instants[i].us - EPOCH_US);
    }
    array_end(params, &array, TIMESTAMPTZ_ARRAY);
}

void pg_add_bytes_array(struct pg_params *params, const void *bytes, size_t size, size_t count)
{
    struct array array;
    if (!array_begin(params, &array, BYTEA, bytes, count, size * count))
        return;
    for (size_t i = 0; i < count; i++)
        put_bytes(&array, (const char *)bytes + i * size, size);
    array_end(params, &array, BYTEA_ARRAY);
}

static const PGresult *result_of(const struct pg_rows *rows)
{
    return (const PGresult *)rows;
}

void pg_rows_free(struct pg_rows **rows)
{
    PQclear((PGresult *)*rows);
    *rows = NULL;
}

int pg_row_count(const struct pg_rows *rows)
{
    return PQntuples(result_of(rows));
}

int64_t pg_affected(const struct pg_rows *rows)
{
    /* libpq's signature lacks the const. */
    return strtoll(PQcmdTuples((PGresult *)(uintptr_t)rows), NULL, 10);
}

bool pg_is_null(const struct pg_rows *rows, int row, int column)
{
    return PQgetisnull(result_of(rows), row, column) != 0;
}

const char *pg_text(const struct pg_rows *rows, int row, int column)
{
    return PQgetvalue(result_of(rows), row, column);
}

size_t pg_length(const struct pg_rows *rows, int row, int column)
{
    return (size_t)PQgetlength(result_of(rows), row, column);
}

int64_t pg_int(const struct pg_rows *rows, int row, int column)
{
    return strtoll(pg_text(rows, row, column), NULL, 10);
}

bool pg_bool(const struct pg_rows *rows, int row, int column)
{
    return *pg_text(rows, row, column) == 't';
}

struct date pg_date(const struct pg_rows *rows, int row, int column)
{
    struct date date = {INT32_MAX};
    if (!date_parse(pg_text(rows, row, column), pg_length(rows, row, column), &date))
        date.days = INT32_MAX;
    return date;
}

struct instant pg_instant(const struct pg_rows *rows, int row, int column)
{
    return (struct instant){pg_int(rows, row, column)};
}

static int hex_digit(char digit)
{
    return digit <= '9' ? digit - '0' : digit - 'a' + 10;
}

size_t pg_bytes(const struct pg_rows *rows, int row, int column, void *bytes, size_t size)
{
    const char *text = pg_text(rows, row, column);
    size_t length = pg_length(rows, row, column);
    size_t count = length >= 2 ? (length - 2) / 2 : 0;
    if (count > size)
        count = size;
    for (size_t i = 0; i < count; i++)
        ((uint8_t *)bytes)[i] = (uint8_t)(hex_digit(text[2 + 2 * i]) << 4 | hex_digit(text[3 + 2 * i]));
    return count;
}

void pg_digest(const struct pg_rows *rows, int row, int column, uint8_t digest[static 32])
{
    memset(digest, 0xff, 32);
    if (pg_length(rows, row, column) == 2 + 2 * 32)
        pg_bytes(rows, row, column, digest, 32);
}

bool pg_int8_list(const struct pg_rows *rows, int row, int column, struct arena *arena, int64_t **numbers,
                  size_t *count)
{
    const char *text = pg_text(rows, row, column);
    size_t commas = 0;
    for (const char *at = text; *at != '\0'; at++)
        commas += *at == ',';
    *count = 0;
    *numbers = arena_array(arena, commas + 1, sizeof **numbers);
    if (*numbers == NULL)
        return false;
    const char *at = text + (*text == '{');
    while (*at != '\0' && *at != '}') {
        char *end;
        (*numbers)[(*count)++] = strtoll(at, &end, 10);
        at = *end == ',' ? end + 1 : end;
    }
    return true;
}
