/* SPDX-License-Identifier: ISC */
/* Statements: transactions, prepared statements, pipelines and streamed rows. */
#include "store/pg.h"

#include "store/pg_inside.h"
#include "store/pg_row.h"

#include "base/clock.h"
#include "base/memory.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SILENCE_MS = 500, ROLLBACK_MS = 1000 };

/* Makes room to note two more messages: a statement and its preparation. */
static bool can_note_sent(struct pg *pg)
{
    if (pg->sent_count + 2 <= pg->sent_capacity)
        return true;
    size_t capacity = pg->sent_capacity * 2 + 16;
    struct sent *grown = realloc(pg->sent, capacity * sizeof *grown);
    if (grown == NULL)
        return false;
    pg->sent = grown;
    pg->sent_capacity = capacity;
    return true;
}

/* Notes what has been handed to libpq. */
static void note_sent(struct pg *pg, const char *statement, const struct sql *prepares, struct pg_rows **rows)
{
    pg->sent[pg->sent_count++] = (struct sent){statement, prepares, rows};
}

static enum store_result send_text(struct pg *pg, const char *text)
{
    if (!can_note_sent(pg))
        return STORE_FAILED;
    if (PQsendQueryParams(pg->connection, text, 0, NULL, NULL, NULL, NULL, 0) == 0)
        return pg_failure(pg, NULL, text); /* drops the connection, so that nothing before it is committed */
    note_sent(pg, text, NULL, NULL);
    return STORE_OK;
}

static bool is_done(const PGresult *result)
{
    ExecStatusType status = PQresultStatus(result);
    return status == PGRES_COMMAND_OK || status == PGRES_TUPLES_OK;
}

/* Takes the whole answer to a message that was sent outside of a pipeline. *last is its last result. If one
 * text has several statements, none runs after one that failed. On failure there is no result, and the
 * connection was dropped. */
static enum store_result take_whole(struct pg *pg, const char *statement, int64_t end, PGresult **last)
{
    PGresult *result = NULL;
    *last = NULL;
    enum store_result waited = pg_flush(pg, end);
    while (waited == STORE_OK) {
        waited = pg_next_result(pg, end, &result);
        if (waited != STORE_OK || result == NULL)
            break;
        PQclear(*last);
        *last = result;
        if (PQstatus(pg->connection) != CONNECTION_OK)
            return STORE_OK; /* the connection broke; this result says why */
    }
    if (waited == STORE_OK)
        return STORE_OK;
    PQclear(*last);
    *last = NULL;
    return pg_lose(pg, statement, waited);
}

/* Runs one text until `end`; the result is the caller's to clear. */
static enum store_result exchange_text(struct pg *pg, const char *text, int64_t end, PGresult **result)
{
    *result = NULL;
    if (PQsendQuery(pg->connection, text) == 0)
        return pg_failure(pg, NULL, text);
    return take_whole(pg, text, end, result);
}

static enum store_result run_text(struct pg *pg, const char *text)
{
    PGresult *result = NULL;
    if (pg->connection == NULL)
        return STORE_UNAVAILABLE;
    enum store_result answer = pg_may_go_on(pg);
    if (answer != STORE_OK)
        return answer;
    if (pg->in_pipeline)
        return send_text(pg, text);
    answer = exchange_text(pg, text, pg_wait_end(pg), &result);
    if (answer == STORE_OK && !is_done(result))
        answer = pg_failure(pg, result, text);
    PQclear(result);
    return answer;
}

enum store_result pg_execute_text(struct pg *pg, const char *text, char *error, size_t error_size)
{
    enum store_result result = run_text(pg, text);
    if (result != STORE_OK && error != NULL)
        snprintf(error, error_size, "%s", pg->error);
    return result;
}

enum store_result pg_begin(struct pg *pg)
{
    enum store_result ready = pg_ready(pg);
    pg->reads = false;
    return ready == STORE_OK ? run_text(pg, "BEGIN") : ready;
}

enum store_result pg_begin_read(struct pg *pg)
{
    enum store_result ready = pg_ready(pg);
    pg->reads = true;
    return ready == STORE_OK ? run_text(pg, "BEGIN ISOLATION LEVEL REPEATABLE READ, READ ONLY") : ready;
}

enum store_result pg_set_lock_wait(struct pg *pg, int ms)
{
    snprintf(pg->lock_wait, sizeof pg->lock_wait, "SET LOCAL lock_timeout = %d", ms);
    return run_text(pg, pg->lock_wait);
}

enum store_result pg_mark(struct pg *pg)
{
    return run_text(pg, "SAVEPOINT mark");
}

enum store_result pg_back_to_mark(struct pg *pg)
{
    return run_text(pg, "ROLLBACK TO SAVEPOINT mark");
}

/* The statement's slot in the table of prepared ones, or the free slot where it belongs. */
static const struct sql **prepared_slot(struct pg *pg, const struct sql *sql)
{
    size_t slot = ((uintptr_t)sql / sizeof *sql) % PG_PREPARED_MAX;
    while (pg->prepared[slot] != NULL && pg->prepared[slot] != sql)
        slot = (slot + 1) % PG_PREPARED_MAX;
    return &pg->prepared[slot];
}

static void note_prepared(struct pg *pg, const struct sql *sql)
{
    assert(pg->prepared_count < PG_PREPARED_MAX - 1);
    *prepared_slot(pg, sql) = sql;
    pg->prepared_count++;
}

/* Takes the answer to one message. A message that did not run because an earlier one failed is STORE_OK. */
static enum store_result take_answer(struct pg *pg, const struct sent *sent, int64_t end)
{
    PGresult *result = NULL, *beyond = NULL;
    enum store_result answer = pg_next_result(pg, end, &result);
    if (answer != STORE_OK)
        return pg_lose(pg, sent->statement, answer);
    bool done = is_done(result);
    if (!done && PQresultStatus(result) != PGRES_PIPELINE_ABORTED)
        answer = pg_failure(pg, result, sent->statement);
    if (done && sent->prepares != NULL)
        note_prepared(pg, sent->prepares);
    if (done && sent->rows != NULL)
        *sent->rows = (struct pg_rows *)result;
    else
        PQclear(result);
    if (pg->connection == NULL)
        return answer;
    /* An answer ends with NULL. If libpq ran out of memory, another result may come, and the answers no
     * longer match the messages. */
    enum store_result ended = pg_next_result(pg, end, &beyond);
    PQclear(beyond);
    if (ended == STORE_OK && beyond == NULL)
        return answer;
    return pg_lose(pg, sent->statement, ended != STORE_OK ? ended : STORE_UNAVAILABLE);
}

static enum store_result take_answers(struct pg *pg, int64_t end)
{
    enum store_result first = STORE_OK;
    for (size_t i = 0; i < pg->sent_count && pg->connection != NULL; i++) {
        enum store_result answer = take_answer(pg, &pg->sent[i], end);
        if (first != STORE_OK || answer == STORE_OK)
            continue;
        first = answer;
        /* A server that shuts down may say so instead of answering the last statement. */
        pg->unanswered = pg->connection == NULL || (i + 1 == pg->sent_count && answer == STORE_UNAVAILABLE);
    }
    return first;
}

/* Takes the answer to the sync, which ends the answers of a pipeline. */
static enum store_result take_sync(struct pg *pg, int64_t end)
{
    PGresult *result = NULL;
    enum store_result waited = pg_next_result(pg, end, &result);
    bool synced = PQresultStatus(result) == PGRES_PIPELINE_SYNC;
    PQclear(result);
    return waited == STORE_OK && !synced ? STORE_UNAVAILABLE : waited;
}

static enum store_result end_pipeline(struct pg *pg, int64_t end)
{
    if (pg->connection == NULL)
        return STORE_UNAVAILABLE;
    pg->unanswered = true;
    if (PQpipelineSync(pg->connection) == 0)
        return pg_failure(pg, NULL, "pipeline");
    enum store_result sent = pg_flush(pg, end);
    if (sent != STORE_OK)
        return pg_lose(pg, "pipeline", sent);
    enum store_result first = take_answers(pg, end);
    if (pg->connection == NULL)
        return first;
    /* If the connection breaks after the last answer, the commit stays valid. */
    if (take_sync(pg, end) != STORE_OK || PQexitPipelineMode(pg->connection) == 0 ||
        PQstatus(pg->connection) != CONNECTION_OK)
        pg_drop(pg);
    pg->in_pipeline = false;
    return first;
}

/* Once the COMMIT is sent, a broken connection leaves open whether it was carried out. */
static enum store_result commit_pipeline(struct pg *pg)
{
    enum store_result sent = send_text(pg, "COMMIT");
    if (sent != STORE_OK)
        return sent; /* the rollback ends the pipeline */
    enum store_result result = end_pipeline(pg, pg_wait_end(pg));
    return result != STORE_OK && pg->unanswered ? STORE_OUTCOME_UNKNOWN : result;
}

enum store_result pg_commit(struct pg *pg)
{
    PGresult *result = NULL;
    if (pg->connection == NULL)
        return STORE_UNAVAILABLE;
    if (memory_has_failed())
        return STORE_UNAVAILABLE; /* rows may be missing from those that were written */
    enum store_result answer = pg_may_go_on(pg);
    if (answer != STORE_OK)
        return answer; /* the rollback ends the transaction */
    if (pg->in_pipeline)
        return commit_pipeline(pg);
    answer = exchange_text(pg, "COMMIT", pg_wait_end(pg), &result);
    if (answer == STORE_OK && !is_done(result))
        answer = pg_failure(pg, result, "COMMIT");
    else if (answer == STORE_OK && strcmp(PQcmdStatus(result), "COMMIT") != 0)
        answer = STORE_FAILED; /* the server answers ROLLBACK if the transaction has failed before */
    PQclear(result);
    if (answer == STORE_OK || pg->connection != NULL)
        return answer;
    /* Without an answer, we do not know whether the COMMIT was carried out. An answer with an SQLSTATE says
     * that it was not. */
    return pg->reads ? STORE_UNAVAILABLE : STORE_OUTCOME_UNKNOWN;
}

/* The memory that the rows were meant for may be gone. */
static void abandon_pipeline(struct pg *pg, int64_t end)
{
    for (size_t i = 0; i < pg->sent_count; i++)
        pg->sent[i].rows = NULL;
    (void)end_pipeline(pg, end);
}

/* Waits for a moment even after the deadline: a rollback costs less than a new connection. */
void pg_rollback(struct pg *pg)
{
    PGresult *result = NULL;
    int64_t end = clock_monotonic_ms() + ROLLBACK_MS;
    if (pg->in_pipeline)
        abandon_pipeline(pg, end);
    if (pg->connection == NULL || PQtransactionStatus(pg->connection) == PQTRANS_IDLE)
        return;
    if (exchange_text(pg, "ROLLBACK", end, &result) == STORE_OK && PQresultStatus(result) != PGRES_COMMAND_OK)
        pg_drop(pg);
    PQclear(result);
}

static enum store_result prepare(struct pg *pg, const struct sql *sql, const struct pg_params *params)
{
    PGresult *result = NULL;
    if (*prepared_slot(pg, sql) == sql)
        return STORE_OK;
    if (PQsendPrepare(pg->connection, sql->name, sql->text, params->count, params->types) == 0)
        return pg_failure(pg, NULL, sql->name);
    enum store_result answer = take_whole(pg, sql->name, pg_wait_end(pg), &result);
    if (answer == STORE_OK && is_done(result))
        note_prepared(pg, sql);
    else if (answer == STORE_OK)
        answer = pg_failure(pg, result, sql->name);
    PQclear(result);
    return answer;
}

static bool is_being_prepared(const struct pg *pg, const struct sql *sql)
{
    for (size_t i = 0; i < pg->sent_count; i++)
        if (pg->sent[i].prepares == sql)
            return true;
    return false;
}

/* In a pipeline a statement may be sent right after its own preparation. */
static enum store_result send_query(struct pg *pg, const struct sql *sql, const struct pg_params *params,
                                    struct pg_rows **rows)
{
    if (!can_note_sent(pg))
        return STORE_FAILED;
    if (*prepared_slot(pg, sql) != sql && !is_being_prepared(pg, sql)) {
        if (PQsendPrepare(pg->connection, sql->name, sql->text, params->count, params->types) == 0)
            return pg_failure(pg, NULL, sql->name);
        note_sent(pg, sql->name, sql, NULL);
    }
    if (PQsendQueryPrepared(pg->connection, sql->name, params->count, params->values, params->lengths,
                            params->formats, 0) == 0)
        return pg_failure(pg, NULL, sql->name);
    note_sent(pg, sql->name, NULL, rows);
    return STORE_OK;
}

/* Sends a prepared statement. */
static bool send_prepared(struct pg *pg, const struct sql *sql, const struct pg_params *params)
{
    return PQsendQueryPrepared(pg->connection, sql->name, params->count, params->values, params->lengths,
                               params->formats, 0) != 0;
}

static enum store_result query_now(struct pg *pg, const struct sql *sql, const struct pg_params *params,
                                   struct pg_rows **rows)
{
    PGresult *result = NULL;
    enum store_result answer = prepare(pg, sql, params);
    if (answer != STORE_OK)
        return answer;
    if (!send_prepared(pg, sql, params))
        return pg_failure(pg, NULL, sql->name);
    answer = take_whole(pg, sql->name, pg_wait_end(pg), &result);
    if (answer == STORE_OK && !is_done(result))
        answer = pg_failure(pg, result, sql->name);
    if (answer == STORE_OK && rows != NULL)
        *rows = (struct pg_rows *)result;
    else
        PQclear(result);
    return answer;
}

enum store_result pg_query(struct pg *pg, const struct sql *sql, struct pg_args args, struct pg_rows **rows)
{
    struct pg_params params;
    if (rows != NULL)
        *rows = NULL;
    if (pg->connection == NULL)
        return STORE_UNAVAILABLE;
    enum store_result result = pg_may_go_on(pg);
    if (result != STORE_OK)
        return result;
    if (!pg_encode(pg, args, &params))
        return STORE_FAILED;
    result = pg->in_pipeline ? send_query(pg, sql, &params, rows) : query_now(pg, sql, &params, rows);
    pg_forget_encoded(pg);
    return result;
}

enum store_result pg_run(struct pg *pg, const struct sql *sql, struct pg_args args)
{
    return pg_query(pg, sql, args, NULL);
}

/* The reader of a stream of rows. */
struct taker {
    pg_stream_row each;
    void *context;
    bool wants_more;
};

/* Waits for the next row. While none comes, asks the reader every SILENCE_MS whether to go on. */
static enum store_result next_row(struct pg *pg, struct taker *taker, PGresult **result)
{
    int64_t end = pg_wait_end(pg);
    enum store_result waited = STORE_OK;
    *result = NULL;
    while (taker->wants_more) {
        int64_t silence_end = clock_monotonic_ms() + SILENCE_MS;
        waited = pg_next_result(pg, silence_end < end ? silence_end : end, result);
        if (waited != STORE_TOO_SLOW || silence_end >= end || pg_may_go_on(pg) != STORE_OK)
            return waited;
        taker->wants_more = taker->each(taker->context, NULL);
    }
    return STORE_OK;
}

/* False: the row was not what its reader expects. */
static bool pass_row(const PGresult *result, struct taker *taker)
{
    struct pg_row row = {.rows = (const struct pg_rows *)result};
    taker->wants_more = taker->each(taker->context, &row);
    return row_end(&row);
}

/* Passes rows on until the last one, or until the reader stops. */
static enum store_result take_rows(struct pg *pg, const struct sql *sql, struct taker *taker)
{
    enum store_result answer = STORE_OK;
    for (;;) {
        PGresult *result;
        enum store_result waited = next_row(pg, taker, &result);
        if (waited == STORE_OK && result != NULL)
            waited = pg_may_go_on(pg);
        if (waited != STORE_OK) {
            PQclear(result);
            return pg_lose(pg, sql->name, waited);
        }
        if (result == NULL)
            return answer;
        ExecStatusType status = PQresultStatus(result);
        if (status != PGRES_SINGLE_TUPLE && status != PGRES_TUPLES_OK && answer == STORE_OK)
            answer = pg_failure(pg, result, sql->name);
        bool readable = status != PGRES_SINGLE_TUPLE || pass_row(result, taker);
        PQclear(result);
        if (!readable)
            return pg_lose(pg, sql->name, STORE_FAILED);
        if (pg->connection == NULL)
            return answer;
    }
}

static enum store_result send_streamed(struct pg *pg, const struct sql *sql, struct pg_args args)
{
    struct pg_params params;
    if (!pg_encode(pg, args, &params))
        return STORE_FAILED;
    enum store_result result = prepare(pg, sql, &params);
    if (result != STORE_OK)
        return result;
    if (!send_prepared(pg, sql, &params) || PQsetSingleRowMode(pg->connection) == 0)
        return pg_failure(pg, NULL, sql->name);
    pg_forget_encoded(pg);
    result = pg_flush(pg, pg_wait_end(pg));
    return result == STORE_OK ? STORE_OK : pg_lose(pg, sql->name, result);
}

enum store_result pg_stream(struct pg *pg, const struct sql *sql, struct pg_args args, pg_stream_row each,
                            void *context)
{
    struct taker taker = {each, context, true};
    if (pg->connection == NULL)
        return STORE_UNAVAILABLE;
    assert(!pg->in_pipeline);
    enum store_result result = pg_may_go_on(pg);
    if (result == STORE_OK)
        result = send_streamed(pg, sql, args);
    if (result == STORE_OK)
        result = take_rows(pg, sql, &taker);
    if (!taker.wants_more)
        pg_drop(pg);
    return result;
}

enum store_result pg_pipeline_begin(struct pg *pg)
{
    enum store_result ready = pg_ready(pg);
    if (ready != STORE_OK)
        return ready;
    assert(!pg->in_pipeline);
    if (PQenterPipelineMode(pg->connection) == 0)
        return pg_failure(pg, NULL, "pipeline");
    pg->in_pipeline = true;
    pg->sent_count = 0;
    return STORE_OK;
}

enum store_result pg_pipeline_end(struct pg *pg)
{
    enum store_result result = end_pipeline(pg, pg_wait_end(pg));
    return result == STORE_OK && pg->connection == NULL ? STORE_UNAVAILABLE : result;
}

bool pg_in_transaction(const struct pg *pg)
{
    return pg->connection != NULL && PQtransactionStatus(pg->connection) == PQTRANS_INTRANS;
}
