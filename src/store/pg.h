/* SPDX-License-Identifier: ISC */
/* A connection to PostgreSQL, and the little that the store needs of libpq.
 *
 * Statements are the files under sql/, embedded as `struct sql`; each is prepared on its connection at first
 * use. Their arguments are made by pg_args.h; pg_ask.h runs a statement and reads its rows. SQLSTATE becomes
 * a store_result here and nowhere else. One thread at a time per connection.
 *
 * Every call may block, but none without bound: each wait ends at the connection's deadline, and when the
 * service stops. The call then drops the connection and returns STORE_TOO_SLOW, or STORE_OUTCOME_UNKNOWN if a
 * COMMIT was under way. Only names are resolved by the C library, in its own time.
 *
 * A pipeline sends statements without waiting for each other's answers: one round trip for all of them. */
#ifndef DEPOSITD_STORE_PG_H
#define DEPOSITD_STORE_PG_H

#include "base/arena.h"
#include "store/pg_args.h"
#include "store/pg_connection.h"

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

struct pg_rows; /* a PGresult */
/* Runs a statement. `rows` may be NULL; on failure *rows is NULL. pg_ask of pg_ask.h runs one and reads its
 * rows; this is for pipelines, whose rows come later. */
MUST_CHECK enum store_result pg_query(struct pg *pg, const struct sql *sql, struct pg_args args,
                                      struct pg_rows **rows);
/* Runs a statement whose rows nobody wants. */
MUST_CHECK enum store_result pg_run(struct pg *pg, const struct sql *sql, struct pg_args args);
/* Takes one row, whose cells live until the call returns, and all of its columns. `row` is NULL now and then,
 * while the server sends none. False: no more are wanted. */
struct pg_row;
typedef bool (*pg_stream_row)(void *context, struct pg_row *row);
/* Runs a statement that may give any number of rows, and keeps none of them. All are of one look at the data.
 * `each` may have had some before it fails. STORE_OK also where no more were wanted: then the connection was
 * dropped, which ends the statement. Not in a pipeline. */
MUST_CHECK enum store_result pg_stream(struct pg *pg, const struct sql *sql, struct pg_args args,
                                       pg_stream_row each, void *context);
/* From here to pg_pipeline_end or pg_commit, pg_begin and pg_query only send; the rows come with the end, and
 * so does the failure of the first statement that failed: those after it did not run. */
MUST_CHECK enum store_result pg_pipeline_begin(struct pg *pg);
MUST_CHECK enum store_result pg_pipeline_end(struct pg *pg);

#endif
