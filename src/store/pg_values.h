/* SPDX-License-Identifier: ISC */
/* The parameters of a statement, and the values of its rows. */
#ifndef DEPOSITD_STORE_PG_VALUES_H
#define DEPOSITD_STORE_PG_VALUES_H

#include "base/arena.h"
#include "depositd/civil.h"

#include <stdbool.h>
#include <stdint.h>

enum { PG_PARAMS_MAX = 32 };

/* Collects parameters; array memory comes from the arena. Failing allocations surface in pg_query. */
struct pg_params {
    struct arena *arena; /* NULL: no arrays and no numbers beyond the small store below */
    int count;
    bool failed;
    unsigned types[PG_PARAMS_MAX];
    const char *values[PG_PARAMS_MAX];
    int lengths[PG_PARAMS_MAX];
    int formats[PG_PARAMS_MAX];
    char numbers[PG_PARAMS_MAX][32];
};

void pg_params_init(struct pg_params *params, struct arena *arena);
void pg_add_null(struct pg_params *params);
void pg_add_text(struct pg_params *params,
                 const char *text); /* any type, in its text form; NULL: null; borrowed */
void pg_add_int(struct pg_params *params, int64_t number); /* bigint or integer, as the statement casts it */
void pg_add_bool(struct pg_params *params, bool value);
void pg_add_bytes(struct pg_params *params, const void *bytes, size_t length); /* bytea; borrowed */
void pg_add_date(struct pg_params *params, struct date date);
void pg_add_instant(struct pg_params *params, struct instant instant);
void pg_add_uuid(struct pg_params *params, const struct uuid *uuid); /* borrowed */
void pg_add_int8_array(struct pg_params *params, const int64_t *numbers, size_t count);
void pg_add_int4_array(struct pg_params *params, const int32_t *numbers, size_t count); /* 0 stays 0 */
void pg_add_bool_array(struct pg_params *params, const bool *values, size_t count);
void pg_add_text_array(struct pg_params *params, const char *const *texts,
                       size_t count); /* NULL element: null */
void pg_add_uuid_array(struct pg_params *params, const struct uuid *uuids, size_t count);
void pg_add_date_array(struct pg_params *params, const struct date *dates, size_t count);
void pg_add_instant_array(struct pg_params *params, const struct instant *instants, size_t count);
/* `count` values of `size` bytes each, one after the other. */
void pg_add_bytes_array(struct pg_params *params, const void *bytes, size_t size, size_t count);

struct pg_rows; /* a PGresult */
void pg_rows_free(struct pg_rows **rows);
#define PG_ROWS __attribute__((cleanup(pg_rows_free))) struct pg_rows *

int pg_row_count(const struct pg_rows *rows);
/* Rows that an INSERT, UPDATE or DELETE without RETURNING touched. */
int64_t pg_affected(const struct pg_rows *rows);
bool pg_is_null(const struct pg_rows *rows, int row, int column);
const char *pg_text(const struct pg_rows *rows, int row,
                    int column); /* "" when null; lives as long as the rows */
size_t pg_length(const struct pg_rows *rows, int row, int column);
int64_t pg_int(const struct pg_rows *rows, int row, int column); /* 0 when null */
bool pg_bool(const struct pg_rows *rows, int row, int column);
struct date pg_date(const struct pg_rows *rows, int row,
                    int column); /* 'YYYY-MM-DD'; infinity: DATE_OPEN_ENDED's value */
struct instant pg_instant(const struct pg_rows *rows, int row,
                          int column); /* selected as instant_us(x): bigint µs */
/* Decodes bytea (hex form) into `bytes`; the number of bytes, at most `size`. */
size_t pg_bytes(const struct pg_rows *rows, int row, int column, void *bytes, size_t size);
/* Decodes a hash of 32 bytes; what has another length, or is null, is read as one that no text has. */
void pg_digest(const struct pg_rows *rows, int row, int column, uint8_t digest[static 32]);
/* Decodes '{1,2,…}' into memory of the arena. */
MUST_CHECK bool pg_int8_list(const struct pg_rows *rows, int row, int column, struct arena *arena,
                             int64_t **numbers, size_t *count);

#endif
