/* SPDX-License-Identifier: ISC */
/* The connection: connecting, transactions, prepared statements, pipelines, and what an SQLSTATE means. */
#include "store/pg.h"

#include "base/log.h"

#include <assert.h>
#include <libpq-fe.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PREPARED_MAX = 256, ERROR_MAX = 512, SILENCE_MS = 500 };

/* What the SQL relies on, whatever the server's defaults are. An instance that is frozen in the midst of a
 * transaction, as when its machine is paused, loses what it holds before another gives up waiting for it. */
#define SETTINGS                                                                                             \
    "-c DateStyle=ISO,YMD -c TimeZone=UTC -c bytea_output=hex -c synchronous_commit=on "                     \
    "-c default_transaction_isolation=read\\ committed -c jit=off -c lock_timeout=30s "                      \
    "-c idle_in_transaction_session_timeout=5s"
#define PLAN_ONCE " -c plan_cache_mode=force_generic_plan"

/* A message that was sent in a pipeline, and what its answer is for. */
struct sent {
    const char *statement;
    const struct sql *prepares; /* NULL: it is no preparation */
    struct pg_rows **rows;      /* NULL: nobody wants them */
};

struct pg {
    char *dsn;
    bool plans_once;
    PGconn *connection;
    const struct sql *prepared[PREPARED_MAX]; /* on this connection; open addressing by address */
    size_t prepared_count;
    bool in_pipeline;
    bool unanswered; /* what failed first in the last pipeline failed without the server's word on it */
    struct sent *sent;
    size_t sent_count, sent_capacity;
    char error[ERROR_MAX];
};

struct pg *pg_new(const char *dsn)
{
    struct pg *pg = calloc(1, sizeof *pg);
    if (pg != NULL && (pg->dsn = strdup(dsn)) == NULL) {
        free(pg);
        pg = NULL;
    }
    return pg;
}

void pg_plan_once(struct pg *pg)
{
    pg->plans_once = true;
}

static void drop_connection(struct pg *pg)
{
    PQfinish(pg->connection);
    pg->connection = NULL;
    memset(pg->prepared, 0, sizeof pg->prepared);
    pg->prepared_count = 0;
    pg->in_pipeline = false;
}

void pg_free(struct pg *pg)
{
    if (pg == NULL)
        return;
    drop_connection(pg);
    free(pg->sent);
    free(pg->dsn);
    free(pg);
}

const char *pg_last_error(const struct pg *pg)
{
    return pg->error;
}

static void keep_error(struct pg *pg, const char *message)
{
    snprintf(pg->error, sizeof pg->error, "%s", message);
    size_t length = strlen(pg->error);
    while (length > 0 && pg->error[length - 1] == '\n')
        pg->error[--length] = '\0';
}

static void ignore_notice(void *context, const char *message)
{
    (void)context;
    (void)message;
}

enum store_result pg_ready(struct pg *pg)
{
    if (pg->connection != NULL && PQstatus(pg->connection) == CONNECTION_OK)
        return STORE_OK;
    drop_connection(pg);
    const char *const keywords[] = {
        "dbname", "fallback_application_name", "connect_timeout", "client_encoding", "options", NULL};
    const char *const values[] = {
        pg->dsn, "depositd", "5", "UTF8", pg->plans_once ? SETTINGS PLAN_ONCE : SETTINGS, NULL};
    pg->connection = PQconnectdbParams(keywords, values, 1);
    if (PQstatus(pg->connection) != CONNECTION_OK) {
        keep_error(pg, PQerrorMessage(pg->connection));
        log_write(LOG_WARNING, "no connection to the database", "error", pg->error, NULL);
        drop_connection(pg);
        return STORE_UNAVAILABLE;
    }
    PQsetNoticeProcessor(pg->connection, ignore_notice, NULL);
    return STORE_OK;
}

void pg_notice_closed(struct pg *pg)
{
    /* What it says when it closes comes before the end of what it says. */
    while (pg->connection != NULL) {
        struct pollfd socket = {.fd = PQsocket(pg->connection), .events = POLLIN};
        if (poll(&socket, 1, 0) <= 0)
            return;
        if (PQconsumeInput(pg->connection) == 0 || PQstatus(pg->connection) != CONNECTION_OK)
            drop_connection(pg);
    }
}

/* The one place where an SQLSTATE gets its meaning. */
static enum store_result result_of_state(const char *state)
{
    static const struct {
        const char *prefix;
        enum store_result result;
    } meanings[] = {
        {"40", STORE_CONFLICT},        /* serialization failure, deadlock */
        {"23505", STORE_CONFLICT},     /* unique violation: somebody else was first */
        {"55P03", STORE_CONFLICT},     /* lock not available in time */
        {"22003", STORE_OUT_OF_RANGE}, /* numeric value out of range */
        {"22", STORE_REFUSED},         /* other data exceptions */
        {"23", STORE_REFUSED},         /* integrity constraints */
        {"25P03", STORE_UNAVAILABLE},  /* idle in a transaction for too long */
        {"57P", STORE_UNAVAILABLE},    /* shutting down, cannot connect now, terminated by an administrator */
        {"53", STORE_UNAVAILABLE},     /* disk full, out of memory, too many connections */
        {"08", STORE_UNAVAILABLE},     /* connection exceptions */
    };
    for (size_t i = 0; i < sizeof meanings / sizeof meanings[0]; i++)
        if (strncmp(state, meanings[i].prefix, strlen(meanings[i].prefix)) == 0)
            return meanings[i].result;
    return STORE_FAILED;
}

static enum store_result failure(struct pg *pg, const PGresult *result, const char *statement)
{
    const char *state = result != NULL ? PQresultErrorField(result, PG_DIAG_SQLSTATE) : NULL;
    keep_error(pg, result != NULL ? PQresultErrorMessage(result) : PQerrorMessage(pg->connection));
    if (PQstatus(pg->connection) != CONNECTION_OK || state == NULL) {
        log_write(LOG_WARNING, "the connection to the database broke", "statement", statement, "error",
                  pg->error, NULL);
        drop_connection(pg);
        return STORE_UNAVAILABLE;
    }
    enum store_result meaning = result_of_state(state);
    enum log_level level = meaning == STORE_FAILED     ? LOG_ERROR
                           : meaning == STORE_CONFLICT ? LOG_DEBUG
                                                       : LOG_WARNING;
    log_write(level, "a statement failed", "statement", statement, "sqlstate", state, "error", pg->error,
              NULL);
    return meaning;
}

/* Room to note two messages more: a statement and its preparation. */
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
        return failure(pg, NULL, text); /* what was sent before must not be committed without it */
    note_sent(pg, text, NULL, NULL);
    return STORE_OK;
}

static enum store_result run_text(struct pg *pg, const char *text)
{
    if (pg->connection == NULL)
        return STORE_UNAVAILABLE;
    if (pg->in_pipeline)
        return send_text(pg, text);
    PGresult *result = PQexec(pg->connection, text);
    ExecStatusType status = PQresultStatus(result);
    enum store_result answer = STORE_OK;
    if (status != PGRES_COMMAND_OK && status != PGRES_TUPLES_OK)
        answer = failure(pg, result, text);
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
    return ready == STORE_OK ? run_text(pg, "BEGIN") : ready;
}

enum store_result pg_begin_read(struct pg *pg)
{
    enum store_result ready = pg_ready(pg);
    return ready == STORE_OK ? run_text(pg, "BEGIN ISOLATION LEVEL REPEATABLE READ, READ ONLY") : ready;
}

enum store_result pg_mark(struct pg *pg)
{
    return run_text(pg, "SAVEPOINT mark");
}

enum store_result pg_back_to_mark(struct pg *pg)
{
    return run_text(pg, "ROLLBACK TO SAVEPOINT mark");
}

/* Where the statement is, or would be, in the table of prepared ones. */
static const struct sql **prepared_slot(struct pg *pg, const struct sql *sql)
{
    size_t slot = ((uintptr_t)sql / sizeof *sql) % PREPARED_MAX;
    while (pg->prepared[slot] != NULL && pg->prepared[slot] != sql)
        slot = (slot + 1) % PREPARED_MAX;
    return &pg->prepared[slot];
}

static void note_prepared(struct pg *pg, const struct sql *sql)
{
    assert(pg->prepared_count < PREPARED_MAX - 1);
    *prepared_slot(pg, sql) = sql;
    pg->prepared_count++;
}

/* Until all is sent, taking in what comes meanwhile. False: the connection broke. */
static bool flush(struct pg *pg)
{
    int pending;
    while ((pending = PQflush(pg->connection)) > 0) {
        struct pollfd socket = {.fd = PQsocket(pg->connection), .events = POLLIN | POLLOUT};
        (void)poll(&socket, 1, -1);
        if ((socket.revents & POLLIN) != 0 && PQconsumeInput(pg->connection) == 0)
            return false;
    }
    return pending == 0;
}

/* The answer to one message; STORE_OK also for one that did not run because an earlier one had failed. */
static enum store_result take_answer(struct pg *pg, const struct sent *sent)
{
    enum store_result answer = STORE_OK;
    PGresult *result = PQgetResult(pg->connection);
    ExecStatusType status = PQresultStatus(result);
    bool done = status == PGRES_COMMAND_OK || status == PGRES_TUPLES_OK;
    if (!done && status != PGRES_PIPELINE_ABORTED)
        answer = failure(pg, result, sent->statement);
    if (done && sent->prepares != NULL)
        note_prepared(pg, sent->prepares);
    if (done && sent->rows != NULL)
        *sent->rows = (struct pg_rows *)result;
    else
        PQclear(result);
    if (pg->connection != NULL)
        PQclear(PQgetResult(pg->connection)); /* NULL: the end of this answer */
    return answer;
}

static enum store_result take_answers(struct pg *pg)
{
    enum store_result first = STORE_OK;
    for (size_t i = 0; i < pg->sent_count && pg->connection != NULL; i++) {
        enum store_result answer = take_answer(pg, &pg->sent[i]);
        if (first != STORE_OK || answer == STORE_OK)
            continue;
        first = answer;
        /* A server that is told to stop may say so instead of answering the last statement. */
        pg->unanswered = pg->connection == NULL || (i + 1 == pg->sent_count && answer == STORE_UNAVAILABLE);
    }
    return first;
}

static enum store_result end_pipeline(struct pg *pg)
{
    if (pg->connection == NULL)
        return STORE_UNAVAILABLE;
    pg->unanswered = true;
    if (PQpipelineSync(pg->connection) == 0 || !flush(pg))
        return failure(pg, NULL, "pipeline");
    (void)PQsetnonblocking(pg->connection, 0);
    enum store_result first = take_answers(pg);
    if (pg->connection == NULL)
        return first;
    PQclear(PQgetResult(pg->connection)); /* the sync's own */
    pg->in_pipeline = false;
    /* A connection that breaks after the last answer takes no commit back. */
    if (PQexitPipelineMode(pg->connection) == 0 || PQstatus(pg->connection) != CONNECTION_OK)
        drop_connection(pg);
    return first;
}

/* With the COMMIT already sent, a connection that breaks says nothing about what has happened. */
static enum store_result commit_pipeline(struct pg *pg)
{
    enum store_result sent = send_text(pg, "COMMIT");
    if (sent != STORE_OK)
        return sent; /* the rollback ends the pipeline */
    enum store_result result = end_pipeline(pg);
    return result != STORE_OK && pg->unanswered ? STORE_OUTCOME_UNKNOWN : result;
}

enum store_result pg_commit(struct pg *pg)
{
    if (pg->connection == NULL)
        return STORE_UNAVAILABLE;
    if (pg->in_pipeline)
        return commit_pipeline(pg);
    PGresult *result = PQexec(pg->connection, "COMMIT");
    enum store_result answer = STORE_OK;
    if (PQresultStatus(result) != PGRES_COMMAND_OK) {
        answer = failure(pg, result, "COMMIT");
        /* No answer to a COMMIT: it may have happened. An answer with an SQLSTATE says that it did not. */
        if (pg->connection == NULL)
            answer = STORE_OUTCOME_UNKNOWN;
    } else if (strcmp(PQcmdStatus(result), "COMMIT") != 0) {
        answer = STORE_FAILED; /* the transaction had failed before: the server answers ROLLBACK */
    }
    PQclear(result);
    return answer;
}

/* Whoever wanted the rows may be gone. */
static void abandon_pipeline(struct pg *pg)
{
    for (size_t i = 0; i < pg->sent_count; i++)
        pg->sent[i].rows = NULL;
    (void)end_pipeline(pg);
}

void pg_rollback(struct pg *pg)
{
    if (pg->in_pipeline)
        abandon_pipeline(pg);
    if (pg->connection == NULL || PQtransactionStatus(pg->connection) == PQTRANS_IDLE)
        return;
    PGresult *result = PQexec(pg->connection, "ROLLBACK");
    if (PQresultStatus(result) != PGRES_COMMAND_OK)
        drop_connection(pg);
    PQclear(result);
}

static enum store_result prepare(struct pg *pg, const struct sql *sql, const struct pg_params *params)
{
    if (*prepared_slot(pg, sql) == sql)
        return STORE_OK;
    PGresult *result = PQprepare(pg->connection, sql->name, sql->text, params->count, params->types);
    enum store_result answer = STORE_OK;
    if (PQresultStatus(result) == PGRES_COMMAND_OK)
        note_prepared(pg, sql);
    else
        answer = failure(pg, result, sql->name);
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

/* In a pipeline a statement may follow at once on its own preparation. */
static enum store_result send_query(struct pg *pg, const struct sql *sql, const struct pg_params *params,
                                    struct pg_rows **rows)
{
    if (!can_note_sent(pg))
        return STORE_FAILED;
    if (*prepared_slot(pg, sql) != sql && !is_being_prepared(pg, sql)) {
        if (PQsendPrepare(pg->connection, sql->name, sql->text, params->count, params->types) == 0)
            return failure(pg, NULL, sql->name);
        note_sent(pg, sql->name, sql, NULL);
    }
    if (PQsendQueryPrepared(pg->connection, sql->name, params->count, params->values, params->lengths,
                            params->formats, 0) == 0)
        return failure(pg, NULL, sql->name);
    note_sent(pg, sql->name, NULL, rows);
    return STORE_OK;
}

enum store_result pg_query(struct pg *pg, const struct sql *sql, const struct pg_params *params,
                           struct pg_rows **rows)
{
    static const struct pg_params none;
    if (rows != NULL)
        *rows = NULL;
    if (params == NULL)
        params = &none;
    if (params->failed)
        return STORE_FAILED;
    if (pg->connection == NULL)
        return STORE_UNAVAILABLE;
    if (pg->in_pipeline)
        return send_query(pg, sql, params, rows);
    enum store_result prepared = prepare(pg, sql, params);
    if (prepared != STORE_OK)
        return prepared;
    PGresult *result = PQexecPrepared(pg->connection, sql->name, params->count, params->values,
                                      params->lengths, params->formats, 0);
    ExecStatusType status = PQresultStatus(result);
    if (status != PGRES_COMMAND_OK && status != PGRES_TUPLES_OK) {
        enum store_result answer = failure(pg, result, sql->name);
        PQclear(result);
        return answer;
    }
    if (rows != NULL)
        *rows = (struct pg_rows *)result;
    else
        PQclear(result);
    return STORE_OK;
}

/* Until PQgetResult need not wait. False: nothing has come for a while. */
static bool has_come(struct pg *pg)
{
    while (PQisBusy(pg->connection)) {
        struct pollfd socket = {.fd = PQsocket(pg->connection), .events = POLLIN};
        int ready = poll(&socket, 1, SILENCE_MS);
        if (ready == 0)
            return false;
        if (ready > 0 && PQconsumeInput(pg->connection) == 0)
            return true; /* it broke: the result says so */
    }
    return true;
}

/* Ends a statement whose rows nobody wants any more; what is on its way is thrown away. */
static void cancel(struct pg *pg)
{
    char error[ERROR_MAX];
    PGcancel *request = PQgetCancel(pg->connection);
    bool asked = request != NULL && PQcancel(request, error, sizeof error) != 0;
    PQfreeCancel(request);
    for (PGresult *result; asked && (result = PQgetResult(pg->connection)) != NULL;)
        PQclear(result);
    if (!asked || PQstatus(pg->connection) != CONNECTION_OK)
        drop_connection(pg);
}

static enum store_result take_rows(struct pg *pg, const struct sql *sql, pg_each each, void *context)
{
    enum store_result answer = STORE_OK;
    bool wanted = true;
    while (wanted) {
        if (!has_come(pg)) {
            wanted = each(context, NULL);
            continue;
        }
        PGresult *result = PQgetResult(pg->connection);
        ExecStatusType status = PQresultStatus(result);
        if (result == NULL)
            return answer;
        if (status == PGRES_SINGLE_TUPLE)
            wanted = each(context, (const struct pg_rows *)result);
        else if (status != PGRES_TUPLES_OK && answer == STORE_OK)
            answer = failure(pg, result, sql->name);
        PQclear(result);
        if (pg->connection == NULL)
            return answer;
    }
    cancel(pg);
    return answer;
}

enum store_result pg_query_each(struct pg *pg, const struct sql *sql, const struct pg_params *params,
                                pg_each each, void *context)
{
    if (params->failed)
        return STORE_FAILED;
    if (pg->connection == NULL)
        return STORE_UNAVAILABLE;
    assert(!pg->in_pipeline);
    enum store_result prepared = prepare(pg, sql, params);
    if (prepared != STORE_OK)
        return prepared;
    if (PQsendQueryPrepared(pg->connection, sql->name, params->count, params->values, params->lengths,
                            params->formats, 0) == 0 ||
        PQsetSingleRowMode(pg->connection) == 0)
        return failure(pg, NULL, sql->name);
    return take_rows(pg, sql, each, context);
}

enum store_result pg_pipeline_begin(struct pg *pg)
{
    enum store_result ready = pg_ready(pg);
    if (ready != STORE_OK)
        return ready;
    assert(!pg->in_pipeline);
    /* Not blocking: while the server waits for us to take an answer, it takes no more statements. */
    if (PQenterPipelineMode(pg->connection) == 0 || PQsetnonblocking(pg->connection, 1) != 0)
        return failure(pg, NULL, "pipeline");
    pg->in_pipeline = true;
    pg->sent_count = 0;
    return STORE_OK;
}

enum store_result pg_pipeline_end(struct pg *pg)
{
    enum store_result result = end_pipeline(pg);
    return result == STORE_OK && pg->connection == NULL ? STORE_UNAVAILABLE : result;
}

bool pg_in_transaction(const struct pg *pg)
{
    return pg->connection != NULL && PQtransactionStatus(pg->connection) == PQTRANS_INTRANS;
}
