/* SPDX-License-Identifier: ISC */
/* The parameters of a statement, $1, $2 … in this order:
 *
 *     pg_ask(pg, &sql_close_sites, PG_ARGS(arg_int(scheme), arg_date(day)), answer)
 *
 * An argument only points to texts, bytes and elements of arrays; pg_query copies them to the connection, so
 * they need to live no longer than the call. */
#ifndef DEPOSITD_STORE_PG_ARGS_H
#define DEPOSITD_STORE_PG_ARGS_H

#include "depositd/civil.h"

enum pg_form {
    PG_FORM_NULL,
    PG_FORM_TEXT,
    PG_FORM_CODE, /* only in arrays: a text that stands in the row itself */
    PG_FORM_INT,
    PG_FORM_BOOL,
    PG_FORM_BYTES,
    PG_FORM_BLOB, /* only in arrays: bytes of any number */
    PG_FORM_DATE,
    PG_FORM_INSTANT,
    PG_FORM_UUID
};

struct pg_arg {
    enum pg_form form;
    bool is_array;
    int64_t number;
    const void *data;     /* text, bytes, or the first element of an array */
    size_t size;          /* of the bytes, or of each element */
    size_t count, stride; /* of an array */
};

struct pg_args {
    const struct pg_arg *items;
    size_t count;
};

#define PG_ARGS(...)                                                                                         \
    ((struct pg_args){(const struct pg_arg[]){__VA_ARGS__},                                                  \
                      sizeof((const struct pg_arg[]){__VA_ARGS__}) / sizeof(struct pg_arg)})
#define PG_NO_ARGS ((struct pg_args){NULL, 0})

struct pg_arg arg_null(void);
struct pg_arg arg_text(const char *text); /* any type, in its text form; NULL: null */
struct pg_arg arg_int(int64_t number);    /* bigint or integer, as the statement casts it */
struct pg_arg arg_bool(bool value);
struct pg_arg arg_bytes(const void *bytes, size_t size);
struct pg_arg arg_date(struct date date);
struct pg_arg arg_instant(struct instant instant);
struct pg_arg arg_uuid(const struct uuid *uuid);

/* Null where the value is absent. */
struct pg_arg arg_int_if(bool present, int64_t number);
struct pg_arg arg_id(int64_t id); /* 0: null */
struct pg_arg arg_bool_if(bool present, bool value);
struct pg_arg arg_date_if(bool present, struct date date);
struct pg_arg arg_date_at(const struct date *date); /* NULL: null */
struct pg_arg arg_bool_at(const bool *value);       /* NULL: null */

/* Arrays: arg_int8s(ARRAY(numbers, count)), or a member of the rows of a table: arg_int8s(COLUMN(entries,
 * entry_count, entry)). If there are elements but no first element, memory has run out before. Then the
 * statement is not run, and the result is STORE_FAILED. */
#define ARRAY(items, count)         (items), (count), sizeof *(items)
#define COLUMN(rows, count, member) ((rows) != NULL ? &(rows)->member : NULL), (count), sizeof *(rows)
struct pg_arg arg_int8s(const int64_t *first, size_t count, size_t stride);
struct pg_arg arg_int4s(const int32_t *first, size_t count, size_t stride);
struct pg_arg arg_bools(const bool *first, size_t count, size_t stride);
struct pg_arg arg_texts(const char *const *first, size_t count, size_t stride); /* NULL element: null */
struct pg_arg arg_codes(const void *first, size_t count, size_t stride); /* members that are char arrays */
struct pg_arg arg_uuids(const struct uuid *first, size_t count, size_t stride);
struct pg_arg arg_dates(const struct date *first, size_t count, size_t stride);
struct pg_arg arg_instants(const struct instant *first, size_t count, size_t stride);
/* Elements of `size` bytes each. */
struct pg_arg arg_bytes_array(const void *first, size_t size, size_t count, size_t stride);
/* Elements of different sizes. */
struct blob {
    const void *data;
    size_t size;
};
struct pg_arg arg_blobs(const struct blob *first, size_t count, size_t stride);

#endif
