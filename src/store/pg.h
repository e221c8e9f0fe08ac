/* SPDX-License-Identifier: ISC */
/* A connection to PostgreSQL, and the little that the store needs of libpq.
 *
 * Statements are the files under sql/, embedded as `struct sql`; each is prepared on its connection at first
 * use. Parameters are collected in a pg_params, in order ($1, $2 …), arrays in binary. Results are text and
 * are freed by scope (PG_ROWS). SQLSTATE becomes a store_result here and nowhere else. One thread at a time
 * per connection.
 *
 * Every call may block, but none without bound: each wait ends at the connection's deadline, and when the
 * service stops. The call then drops the connection and returns STORE_TOO_SLOW, or STORE_OUTCOME_UNKNOWN if a
 * COMMIT was under way. Only names are resolved by the C library, in its own time.
 *
 * A pipeline sends statements without waiting for each other's answers: one round trip for all of them. */
#ifndef DEPOSITD_STORE_PG_H
#define DEPOSITD_STORE_PG_H

#include "base/arena.h"
#include "depositd/civil.h"

#include <stdatomic.h>
#include <stdbool.h>
#include <stdint.h>

struct sql {
    const char *name;
    const char *text;
};

enum store_result {
    STORE_OK = 0,
    STORE_UNAVAILABLE =
        -1, /* no connection, or it broke: nothing was committed unless a commit was under way */
    STORE_OUTCOME_UNKNOWN = -2, /* the connection broke while a commit was under way */
    STORE_CONFLICT = -3,        /* deadlock, serialization: try the transaction again */
    STORE_OUT_OF_RANGE = -4,    /* a number did not fit */
    STORE_REFUSED = -5,         /* a constraint of the database said no */
    STORE_FAILED = -6,          /* anything else: a bug, a missing grant */
    STORE_TOO_SLOW = -7,        /* no answer by the deadline: nothing was committed */
    STORE_LOCKED = -8           /* somebody else held a lock for as long as we would wait */
};

struct pg;

/* When all waits of a process end. Any thread sets it, once; 0: not yet. Of clock_monotonic_ms. */
struct pg_stop {
    atomic_int_least64_t at_ms;
};

struct pg_bounds {
    int statement_ms; /* the longest wait for one answer; the server is told to give up a little later */
    const struct pg_stop *stop; /* NULL: nothing stops it */
};

/* Does not connect yet: pg_ready does, and again after a break. `dsn` is copied. NULL: out of memory. */
MUST_CHECK struct pg *pg_new(const char *dsn, const struct pg_bounds *bounds);
/* No wait lasts beyond this moment of clock_monotonic_ms, and no statement begins after it; 0: only the
 * bounds count. */
void pg_set_deadline(struct pg *pg, int64_t at_ms);
/* Asked a few times a second while the connection waits: false drops the connection, with STORE_UNAVAILABLE.
 * NULL: nobody is asked. */
void pg_set_watch(struct pg *pg, bool (*wanted)(void *context), void *context);
/* Whether pg_ready last found a connection pooler in place of PostgreSQL, and refused it. */
bool pg_is_pooled(const struct pg *pg);
/* For the few statements of the writer: each is planned once, not anew for the parameters at hand. Before it
 * connects. */
void pg_plan_once(struct pg *pg);
void pg_free(struct pg *pg);
/* Connects if it is not connected. */
MUST_CHECK enum store_result pg_ready(struct pg *pg);

/* Lets go of a connection that the server has closed while nothing was asked of it: whoever began with it
 * would not know how far that came. Outside of transactions; does not block. */
void pg_notice_closed(struct pg *pg);

/* Closes the connection, so that the next use makes a new one. Does not block. */
void pg_disconnect(struct pg *pg);

MUST_CHECK enum store_result pg_begin(struct pg *pg);
/* To the end of the transaction, a lock is waited for no longer than this: then STORE_LOCKED. */
MUST_CHECK enum store_result pg_set_lock_wait(struct pg *pg, int ms);
/* Whether a transaction is open, and has not failed. */
bool pg_in_transaction(const struct pg *pg);
/* REPEATABLE READ, READ ONLY: one view of the data for several statements. */
MUST_CHECK enum store_result pg_begin_read(struct pg *pg);
/* Within a transaction: what fails after the mark can be undone without ending it. */
MUST_CHECK enum store_result pg_mark(struct pg *pg);
MUST_CHECK enum store_result pg_back_to_mark(struct pg *pg);
/* Within a pipeline it ends that, too. Nothing is committed that was written while memory ran out. */
MUST_CHECK enum store_result pg_commit(struct pg *pg);
/* Always leaves no transaction open; a broken connection is dropped. */
void pg_rollback(struct pg *pg);
/* Runs SQL text without parameters, possibly several statements (migrations). `error`, if not NULL, gets the
 * message. */
MUST_CHECK enum store_result pg_execute_text(struct pg *pg, const char *text, char *error, size_t error_size);

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

/* Runs a statement. `rows` may be NULL; on failure *rows is NULL. */
MUST_CHECK enum store_result pg_query(struct pg *pg, const struct sql *sql, const struct pg_params *params,
                                      struct pg_rows **rows);
/* One row, which lives until the call returns; NULL, now and then, while the server sends none. False: no
 * more are wanted. */
typedef bool (*pg_each)(void *context, const struct pg_rows *row);
/* Runs a statement, which may give any number of rows: none is kept. All are of one look at the data. `each`
 * may have had some before it fails. STORE_OK also where no more were wanted: then the connection was
 * dropped, which ends the statement. Not in a pipeline. */
MUST_CHECK enum store_result pg_query_each(struct pg *pg, const struct sql *sql,
                                           const struct pg_params *params, pg_each each, void *context);
/* From here to pg_pipeline_end or pg_commit, pg_begin and pg_query only send; the rows come with the end, and
 * so does the failure of the first statement that failed: those after it did not run. */
MUST_CHECK enum store_result pg_pipeline_begin(struct pg *pg);
MUST_CHECK enum store_result pg_pipeline_end(struct pg *pg);

/* How the last failed statement was explained by the server: for the log, and SQLSTATE for tests; "" when
 * there is nothing. */
const char *pg_last_error(const struct pg *pg);

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
