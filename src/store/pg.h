/* SPDX-License-Identifier: ISC */
/* A connection to PostgreSQL: transactions, statements and pipelines.
 *
 * Statements are the files under sql/, embedded as `struct sql`; each is prepared on its connection at first
 * use. Their arguments are made by pg_args.h; pg_ask.h runs a statement and reads its rows. SQLSTATE becomes
 * a store_result here and nowhere else. One thread at a time per connection.
 *
 * Every call may block. Each wait ends at the connection's deadline, and when the service stops. The call
 * then drops the connection and returns STORE_TOO_SLOW, or STORE_OUTCOME_UNKNOWN if a COMMIT was under way.
 * Only the look-up of names has no bound of ours: the C library takes its own time for it.
 *
 * A pipeline sends several statements before it waits for any answer: one round trip for all of them. */
#ifndef DEPOSITD_STORE_PG_H
#define DEPOSITD_STORE_PG_H

#include "base/arena.h"
#include "store/pg_args.h"
#include "store/pg_connection.h"

MUST_CHECK enum store_result pg_begin(struct pg *pg);
/* Until the transaction ends, a statement waits no longer than this for a lock; after that its result is
 * STORE_LOCKED. */
MUST_CHECK enum store_result pg_set_lock_wait(struct pg *pg, int ms);
/* Whether a transaction is open, and has not failed. */
bool pg_in_transaction(const struct pg *pg);
/* REPEATABLE READ, READ ONLY: one view of the data for several statements. */
MUST_CHECK enum store_result pg_begin_read(struct pg *pg);
/* Within a transaction: pg_back_to_mark undoes all statements after the mark, and the transaction goes on. */
MUST_CHECK enum store_result pg_mark(struct pg *pg);
MUST_CHECK enum store_result pg_back_to_mark(struct pg *pg);
/* In a pipeline it ends the pipeline as well. Refuses to commit if memory has run out on this thread, since
 * rows may be missing from those that were written. */
MUST_CHECK enum store_result pg_commit(struct pg *pg);
/* Leaves no transaction open in any case; drops a broken connection. */
void pg_rollback(struct pg *pg);
/* Runs SQL text without parameters, possibly several statements (migrations). `error`, if not NULL, gets the
 * message. */
MUST_CHECK enum store_result pg_execute_text(struct pg *pg, const char *text, char *error, size_t error_size);

struct pg_row;
struct pg_rows; /* a PGresult */
/* Runs a statement. In a pipeline it only sends the statement, and *rows is set when the pipeline ends.
 * `rows` may be NULL; on failure *rows is NULL. Outside of pipelines pg_ask (pg_ask.h) runs a statement and
 * reads its rows. */
MUST_CHECK enum store_result pg_query(struct pg *pg, const struct sql *sql, struct pg_args args,
                                      struct pg_rows **rows);
/* The same for a statement whose rows do not matter. */
MUST_CHECK enum store_result pg_run(struct pg *pg, const struct sql *sql, struct pg_args args);
/* Takes all columns of one row, whose cells live until the call returns. `row` is NULL now and then, while
 * the server sends none. False: stop. */
typedef bool (*pg_stream_row)(void *context, struct pg_row *row);
/* Runs a statement that may give any number of rows, all of one snapshot of the data, and keeps none of them.
 * `each` may have taken some before the statement fails. If `each` stops, the result is STORE_OK and the
 * connection was dropped, which ends the statement. Not in a pipeline. */
MUST_CHECK enum store_result pg_stream(struct pg *pg, const struct sql *sql, struct pg_args args,
                                       pg_stream_row each, void *context);
/* From here to pg_pipeline_end or pg_commit, pg_begin, pg_query and pg_run only send. The end brings the
 * rows, or the failure of the first statement that failed; the statements after it did not run. */
MUST_CHECK enum store_result pg_pipeline_begin(struct pg *pg);
MUST_CHECK enum store_result pg_pipeline_end(struct pg *pg);

#endif
