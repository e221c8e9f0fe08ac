/* SPDX-License-Identifier: ISC */
/* Reading a row: a cursor that takes its columns in their order.
 *
 * A reader states its expectation of each column, from the first to the last:
 *
 *     static void take_site(struct pg_row *row, void *into)
 *     {
 *         struct site *site = into;
 *         site->id = row_int32(row);
 *         site->closed_on = row_date_or(row, DATE_OPEN_ENDED);
 *     }
 *
 * Failure is sticky, so that a reader need not check in between. A row fails at a NULL where none is
 * expected, at another type, a number that does not fit, too few or too many columns, or want of memory. All
 * reads after that give 0, false or "". pg_ask then gives STORE_FAILED. C leaves the order of an
 * initializer's expressions open, so take each column in a statement of its own. */
#ifndef DEPOSITD_STORE_PG_ROW_H
#define DEPOSITD_STORE_PG_ROW_H

#include "base/arena.h"
#include "base/buffer.h"
#include "depositd/civil.h"

struct pg_rows; /* a PGresult */
void pg_rows_free(struct pg_rows **rows);
#define PG_ROWS __attribute__((cleanup(pg_rows_free))) struct pg_rows *

struct pg_row {
    const struct pg_rows *rows;
    struct arena *arena; /* for copies and lists; NULL: none are taken */
    void *shared;        /* of pg_list: a pointer for the reader, the same for all rows */
    int index;           /* of the row, from 0 */
    int column;          /* the next one */
    bool failed;
    bool no_memory; /* whether the row failed for want of memory */
};

/* Whether the next column is NULL. Takes nothing. */
bool row_is_null(const struct pg_row *row);
void row_skip(struct pg_row *row);
void row_skip_rest(struct pg_row *row);
/* Fails the row unless its content is sound, or unless memory was given. */
void row_check(struct pg_row *row, bool is_sound);
void row_check_memory(struct pg_row *row, const void *memory);

int64_t row_int(struct pg_row *row); /* of any integer type, and sums of them */
int64_t row_int_or_0(struct pg_row *row);
int32_t row_int32(struct pg_row *row);
int32_t row_int32_or_0(struct pg_row *row);
bool row_bool(struct pg_row *row);
bool row_bool_or_false(struct pg_row *row);
/* A date outside of the years that date_parse knows, and infinity, are read as DATE_OPEN_ENDED. */
struct date row_date(struct pg_row *row);
struct date row_date_or(struct pg_row *row, struct date if_null);
struct instant row_instant(struct pg_row *row); /* selected as instant_us(x): bigint µs */
struct instant row_instant_or(struct pg_row *row, struct instant if_null);
struct uuid row_uuid(struct pg_row *row);

/* A column of any type, in its text form. The text lives as long as the rows. */
const char *row_text(struct pg_row *row);
const char *row_text_or_null(struct pg_row *row);
/* Copies the text into an array of `size`. A longer text fails the row. */
void row_text_into(struct pg_row *row, char *text, size_t size);
/* A copy of the text in the arena. */
char *row_copy(struct pg_row *row);
char *row_copy_or_null(struct pg_row *row);
char *row_copy_or_empty(struct pg_row *row);
void row_append(struct pg_row *row, struct buffer *buffer);
/* The index of the text among `count` words. Another text fails the row. */
unsigned row_word(struct pg_row *row, const char *const *words, size_t count);

/* For bytea: exactly `size` bytes; at most `size` bytes; any number, appended to a buffer. */
void row_bytes(struct pg_row *row, void *bytes, size_t size);
size_t row_bytes_at_most(struct pg_row *row, void *bytes, size_t size);
void row_append_bytes(struct pg_row *row, struct buffer *buffer);
/* In memory of the arena. */
uint8_t *row_copy_bytes(struct pg_row *row, size_t *size);
/* For hashes that are to be verified. A value of another length, or NULL, becomes bytes 0xff, which are no
 * hash. */
void row_hashes(struct pg_row *row, void *hashes, size_t size);

/* An array of integers without NULLs, in memory of the arena. NULL: an empty one. */
int64_t *row_ints(struct pg_row *row, size_t *count);
/* An array of another length fails the row. */
int64_t *row_ints_of(struct pg_row *row, size_t count);
/* The same, from a text that row_text gave. */
int64_t *row_ints_of_text(struct pg_row *row, const char *text, size_t *count);

/* Whether all columns were taken and as expected. */
MUST_CHECK bool row_end(struct pg_row *row);

#endif
