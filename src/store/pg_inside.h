/* SPDX-License-Identifier: ISC */
/* A connection from inside. Private to the files pg*.c.
 *
 * libpq never waits: the connection is non-blocking, and PQgetResult is called only when PQisBusy says that
 * it need not wait. Only wait_for in pg_connection.c waits for the server. */
#ifndef DEPOSITD_STORE_PG_INSIDE_H
#define DEPOSITD_STORE_PG_INSIDE_H

#include "store/pg_bounds.h"
#include "store/store_result.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <libpq-fe.h>

struct pg_args;
struct pg_rows;

enum { PG_PREPARED_MAX = 256, PG_ERROR_MAX = 512, PG_PARAMS_MAX = 32, PG_TEXT_MAX = 32 };

/* Type oids of pg_type.dat: fixed for ever in PostgreSQL. */
enum {
    PG_TYPE_BOOL = 16,
    PG_TYPE_BYTEA = 17,
    PG_TYPE_INT8 = 20,
    PG_TYPE_INT2 = 21,
    PG_TYPE_INT4 = 23,
    PG_TYPE_TEXT = 25,
    PG_TYPE_DATE = 1082,
    PG_TYPE_TIMESTAMPTZ = 1184,
    PG_TYPE_NUMERIC = 1700,
    PG_TYPE_UUID = 2950,
    PG_TYPE_BOOL_ARRAY = 1000,
    PG_TYPE_BYTEA_ARRAY = 1001,
    PG_TYPE_INT4_ARRAY = 1007,
    PG_TYPE_TEXT_ARRAY = 1009,
    PG_TYPE_INT8_ARRAY = 1016,
    PG_TYPE_DATE_ARRAY = 1182,
    PG_TYPE_TIMESTAMPTZ_ARRAY = 1185,
    PG_TYPE_UUID_ARRAY = 2951
};

/* Arguments as libpq takes them. */
struct pg_params {
    int count;
    unsigned types[PG_PARAMS_MAX]; /* 0: as the statement casts it */
    const char *values[PG_PARAMS_MAX];
    int lengths[PG_PARAMS_MAX];
    int formats[PG_PARAMS_MAX];
    char texts[PG_PARAMS_MAX][PG_TEXT_MAX]; /* of numbers and dates */
};

/* A message that was sent in a pipeline, and where its answer goes. */
struct sent {
    const char *statement;
    const struct sql *prepares; /* NULL: it prepares nothing */
    struct pg_rows **rows;      /* NULL: they are not kept */
};

struct pg {
    char *dsn;
    struct pg_bounds bounds;
    int64_t deadline_ms; /* of clock_monotonic_ms; 0: none */
    bool (*wanted)(void *context);
    void *context;
    int64_t looked_ms; /* when `wanted` was last asked */
    bool plans_once;
    bool is_pooled;
    bool is_read_only; /* the server has refused a write: connect anew at the next use */
    PGconn *connection;
    const struct sql *prepared[PG_PREPARED_MAX]; /* on this connection; open addressing by address */
    size_t prepared_count;
    bool in_pipeline;
    bool reads;      /* the current transaction writes nothing */
    bool unanswered; /* the last pipeline failed without an answer from the server */
    struct sent *sent;
    size_t sent_count, sent_capacity;
    char *scratch; /* arrays that are being encoded */
    size_t scratch_size;
    char lock_wait[48]; /* the SQL that sets the wait */
    char error[PG_ERROR_MAX];
};

/* Encodes arguments. The arrays are valid until the next call, or pg_forget_encoded. False: out of memory. */
MUST_CHECK bool pg_encode(struct pg *pg, struct pg_args args, struct pg_params *params);
/* Keeps the memory of the arrays for the next statement, unless it is large. */
void pg_forget_encoded(struct pg *pg);

/* When a wait that begins now has to end. */
int64_t pg_wait_end(const struct pg *pg);
/* Whether another statement may begin. On failure it is too late, or nobody wants the answer. */
MUST_CHECK enum store_result pg_may_go_on(struct pg *pg);
/* Sends all that is pending. */
MUST_CHECK enum store_result pg_flush(struct pg *pg, int64_t end);
/* *result is the next result, which the caller clears, or NULL at the end of an answer. On failure there is
 * no result, and the connection is of no use any more. */
MUST_CHECK enum store_result pg_next_result(struct pg *pg, int64_t end, PGresult **result);

/* Closes the connection without waiting. The server ends its work when it notices. */
void pg_drop(struct pg *pg);
/* Drops the connection because a wait on it ended with `why`. Returns `why`. */
enum store_result pg_lose(struct pg *pg, const char *statement, enum store_result why);
/* The store_result of a failed result. `result` NULL: libpq itself failed; then the connection is dropped. */
enum store_result pg_failure(struct pg *pg, const PGresult *result, const char *statement);

#endif
