/* SPDX-License-Identifier: ISC */
/* Makes arguments, and encodes them for libpq: single values as text, arrays in PostgreSQL's binary form. */
#include "store/pg_args.h"

#include "base/memory.h"
#include "store/pg_inside.h"

#include <arpa/inet.h>
#include <assert.h>
#include <endian.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FORMAT_TEXT = 0, FORMAT_BINARY = 1, ARRAY_HEADER_SIZE = 20, SCRATCH_KEPT = 1 << 20 };

/* PostgreSQL counts from 2000-01-01, we from 1970-01-01. */
#define EPOCH_DAYS 10957
#define EPOCH_US   (INT64_C(86400000000) * EPOCH_DAYS)

struct pg_arg arg_null(void)
{
    return (struct pg_arg){.form = PG_FORM_NULL};
}

struct pg_arg arg_text(const char *text)
{
    return (struct pg_arg){.form = PG_FORM_TEXT, .data = text};
}

struct pg_arg arg_int(int64_t number)
{
    return (struct pg_arg){.form = PG_FORM_INT, .number = number};
}

struct pg_arg arg_bool(bool value)
{
    return (struct pg_arg){.form = PG_FORM_BOOL, .number = value};
}

struct pg_arg arg_bytes(const void *bytes, size_t size)
{
    return (struct pg_arg){.form = PG_FORM_BYTES, .data = bytes, .size = size};
}

struct pg_arg arg_date(struct date date)
{
    return (struct pg_arg){.form = PG_FORM_DATE, .number = date.days};
}

struct pg_arg arg_instant(struct instant instant)
{
    return (struct pg_arg){.form = PG_FORM_INSTANT, .number = instant.us};
}

struct pg_arg arg_uuid(const struct uuid *uuid)
{
    return (struct pg_arg){.form = PG_FORM_UUID, .data = uuid, .size = sizeof *uuid};
}

struct pg_arg arg_int_if(bool present, int64_t number)
{
    return present ? arg_int(number) : arg_null();
}

struct pg_arg arg_id(int64_t id)
{
    return arg_int_if(id != 0, id);
}

struct pg_arg arg_bool_if(bool present, bool value)
{
    return present ? arg_bool(value) : arg_null();
}

struct pg_arg arg_date_if(bool present, struct date date)
{
    return present ? arg_date(date) : arg_null();
}

struct pg_arg arg_date_at(const struct date *date)
{
    return date != NULL ? arg_date(*date) : arg_null();
}

struct pg_arg arg_bool_at(const bool *value)
{
    return value != NULL ? arg_bool(*value) : arg_null();
}

static struct pg_arg array_of(enum pg_form form, const void *first, size_t size, size_t count, size_t stride)
{
    return (struct pg_arg){
        .form = form, .is_array = true, .data = first, .size = size, .count = count, .stride = stride};
}

struct pg_arg arg_int8s(const int64_t *first, size_t count, size_t stride)
{
    return array_of(PG_FORM_INT, first, sizeof *first, count, stride);
}

struct pg_arg arg_int4s(const int32_t *first, size_t count, size_t stride)
{
    return array_of(PG_FORM_INT, first, sizeof *first, count, stride);
}

struct pg_arg arg_bools(const bool *first, size_t count, size_t stride)
{
    return array_of(PG_FORM_BOOL, first, 1, count, stride);
}

struct pg_arg arg_texts(const char *const *first, size_t count, size_t stride)
{
    return array_of(PG_FORM_TEXT, first, 0, count, stride);
}

struct pg_arg arg_codes(const void *first, size_t count, size_t stride)
{
    return array_of(PG_FORM_CODE, first, 0, count, stride);
}

struct pg_arg arg_uuids(const struct uuid *first, size_t count, size_t stride)
{
    return array_of(PG_FORM_UUID, first, sizeof *first, count, stride);
}

struct pg_arg arg_dates(const struct date *first, size_t count, size_t stride)
{
    return array_of(PG_FORM_DATE, first, sizeof(int32_t), count, stride);
}

struct pg_arg arg_instants(const struct instant *first, size_t count, size_t stride)
{
    return array_of(PG_FORM_INSTANT, first, sizeof(int64_t), count, stride);
}

struct pg_arg arg_bytes_array(const void *first, size_t size, size_t count, size_t stride)
{
    return array_of(PG_FORM_BYTES, first, size, count, stride);
}

struct pg_arg arg_blobs(const struct blob *first, size_t count, size_t stride)
{
    return array_of(PG_FORM_BLOB, first, 0, count, stride);
}

/* --- arrays ----------------------------------------------------------------------------------------------
 */

/* The type of an element and of the array. */
struct array_type {
    int32_t element, array;
};

static struct array_type array_type(const struct pg_arg *arg)
{
    switch (arg->form) {
    case PG_FORM_NULL:
    case PG_FORM_TEXT:
    case PG_FORM_CODE:
        return (struct array_type){PG_TYPE_TEXT, PG_TYPE_TEXT_ARRAY};
    case PG_FORM_INT:
        return arg->size == sizeof(int64_t) ? (struct array_type){PG_TYPE_INT8, PG_TYPE_INT8_ARRAY}
                                            : (struct array_type){PG_TYPE_INT4, PG_TYPE_INT4_ARRAY};
    case PG_FORM_BOOL:
        return (struct array_type){PG_TYPE_BOOL, PG_TYPE_BOOL_ARRAY};
    case PG_FORM_BYTES:
    case PG_FORM_BLOB:
        return (struct array_type){PG_TYPE_BYTEA, PG_TYPE_BYTEA_ARRAY};
    case PG_FORM_DATE:
        return (struct array_type){PG_TYPE_DATE, PG_TYPE_DATE_ARRAY};
    case PG_FORM_INSTANT:
        return (struct array_type){PG_TYPE_TIMESTAMPTZ, PG_TYPE_TIMESTAMPTZ_ARRAY};
    case PG_FORM_UUID:
        return (struct array_type){PG_TYPE_UUID, PG_TYPE_UUID_ARRAY};
    }
    abort();
}

static const void *element_at(const struct pg_arg *arg, size_t i)
{
    return (const char *)arg->data + i * arg->stride;
}

static const char *text_at(const struct pg_arg *arg, size_t i)
{
    const char *text;
    if (arg->form == PG_FORM_CODE)
        return element_at(arg, i);
    memcpy(&text, element_at(arg, i), sizeof text);
    return text;
}

static struct blob blob_at(const struct pg_arg *arg, size_t i)
{
    struct blob blob;
    memcpy(&blob, element_at(arg, i), sizeof blob);
    return blob;
}

static size_t array_size(const struct pg_arg *arg)
{
    size_t size = ARRAY_HEADER_SIZE + arg->count * (sizeof(int32_t) + arg->size);
    bool is_text = arg->form == PG_FORM_TEXT || arg->form == PG_FORM_CODE;
    for (size_t i = 0; is_text && i < arg->count; i++)
        size += text_at(arg, i) != NULL ? strlen(text_at(arg, i)) : 0;
    for (size_t i = 0; arg->form == PG_FORM_BLOB && i < arg->count; i++)
        size += blob_at(arg, i).size;
    return size;
}

static void put32(char **end, int32_t number)
{
    uint32_t network = htonl((uint32_t)number);
    memcpy(*end, &network, sizeof network);
    *end += sizeof network;
}

static void put64(char **end, int64_t number)
{
    uint64_t network = htobe64((uint64_t)number);
    memcpy(*end, &network, sizeof network);
    *end += sizeof network;
}

/* Each element is its length and its bytes. */
static void put_bytes(char **end, const void *bytes, size_t size)
{
    put32(end, (int32_t)size);
    if (size > 0)
        memcpy(*end, bytes, size);
    *end += size;
}

static void put_text(char **end, const char *text)
{
    if (text != NULL)
        put_bytes(end, text, strlen(text));
    else
        put32(end, -1);
}

static void put_int4(char **end, const void *element, int32_t less)
{
    int32_t number;
    memcpy(&number, element, sizeof number);
    put32(end, sizeof number);
    put32(end, number - less);
}

static void put_int8(char **end, const void *element, int64_t less)
{
    int64_t number;
    memcpy(&number, element, sizeof number);
    put32(end, sizeof number);
    put64(end, number - less);
}

static void put_element(char **end, const struct pg_arg *arg, size_t i)
{
    const void *element = element_at(arg, i);
    switch (arg->form) {
    case PG_FORM_NULL:
    case PG_FORM_TEXT:
    case PG_FORM_CODE:
        put_text(end, text_at(arg, i));
        break;
    case PG_FORM_INT:
        if (arg->size == sizeof(int64_t))
            put_int8(end, element, 0);
        else
            put_int4(end, element, 0);
        break;
    case PG_FORM_BOOL:
        put_bytes(end, *(const bool *)element ? "\1" : "\0", 1);
        break;
    case PG_FORM_DATE:
        put_int4(end, element, EPOCH_DAYS);
        break;
    case PG_FORM_INSTANT:
        put_int8(end, element, EPOCH_US);
        break;
    case PG_FORM_BYTES:
    case PG_FORM_UUID:
        put_bytes(end, element, arg->size);
        break;
    case PG_FORM_BLOB:
        put_bytes(end, blob_at(arg, i).data, blob_at(arg, i).size);
        break;
    }
}

static void put_array(char **end, const struct pg_arg *arg)
{
    put32(end, arg->count > 0); /* dimensions */
    put32(end, 1);              /* there may be nulls */
    put32(end, array_type(arg).element);
    if (arg->count > 0) {
        put32(end, (int32_t)arg->count);
        put32(end, 1); /* lower bound */
    }
    for (size_t i = 0; i < arg->count; i++)
        put_element(end, arg, i);
}

/* --- encoding --------------------------------------------------------------------------------------------
 */

/* Room for all arrays of the statement. */
static bool reserve(struct pg *pg, struct pg_args args)
{
    size_t size = 0;
    for (size_t i = 0; i < args.count; i++) {
        if (!args.items[i].is_array)
            continue;
        if (args.items[i].data == NULL && args.items[i].count > 0)
            return false;
        size += array_size(&args.items[i]);
    }
    if (size <= pg->scratch_size)
        return true;
    free(pg->scratch);
    pg->scratch = memory_allocate(size);
    pg->scratch_size = pg->scratch != NULL ? size : 0;
    return pg->scratch != NULL;
}

static void encode_array(struct pg_params *params, const struct pg_arg *arg, char **end)
{
    int at = params->count;
    params->types[at] = (unsigned)array_type(arg).array;
    params->values[at] = *end;
    put_array(end, arg);
    params->lengths[at] = (int)(*end - params->values[at]);
    params->formats[at] = FORMAT_BINARY;
}

static void encode_value(struct pg_params *params, const struct pg_arg *arg)
{
    int at = params->count;
    char *text = params->texts[at];
    params->types[at] = 0;
    params->values[at] = text;
    params->lengths[at] = (int)arg->size;
    params->formats[at] =
        arg->form == PG_FORM_BYTES || arg->form == PG_FORM_UUID ? FORMAT_BINARY : FORMAT_TEXT;
    switch (arg->form) {
    case PG_FORM_NULL:
        params->values[at] = NULL;
        break;
    case PG_FORM_TEXT:
    case PG_FORM_CODE:
        params->values[at] = arg->data;
        break;
    case PG_FORM_INT:
        snprintf(text, PG_TEXT_MAX, "%lld", (long long)arg->number);
        break;
    case PG_FORM_BOOL:
        params->types[at] = PG_TYPE_BOOL;
        params->values[at] = arg->number != 0 ? "t" : "f";
        break;
    case PG_FORM_BYTES:
    case PG_FORM_BLOB:
        params->types[at] = PG_TYPE_BYTEA;
        params->values[at] = arg->data;
        break;
    case PG_FORM_DATE:
        params->types[at] = PG_TYPE_DATE;
        date_format((struct date){(int32_t)arg->number}, text);
        break;
    case PG_FORM_INSTANT:
        params->types[at] = PG_TYPE_TIMESTAMPTZ;
        instant_format((struct instant){arg->number}, text);
        break;
    case PG_FORM_UUID:
        params->types[at] = PG_TYPE_UUID;
        params->values[at] = arg->data;
        break;
    }
}

bool pg_encode(struct pg *pg, struct pg_args args, struct pg_params *params)
{
    assert(args.count <= PG_PARAMS_MAX);
    if (!reserve(pg, args))
        return false;
    char *end = pg->scratch;
    for (params->count = 0; params->count < (int)args.count; params->count++) {
        const struct pg_arg *arg = &args.items[params->count];
        if (arg->is_array)
            encode_array(params, arg, &end);
        else
            encode_value(params, arg);
    }
    return true;
}

void pg_forget_encoded(struct pg *pg)
{
    if (pg->scratch_size <= SCRATCH_KEPT)
        return;
    free(pg->scratch);
    pg->scratch = NULL;
    pg->scratch_size = 0;
}
