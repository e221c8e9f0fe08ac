/* SPDX-License-Identifier: ISC */
/* The connection: connecting, transactions, prepared statements, and what an SQLSTATE means. */
#include "store/pg.h"

#include "base/log.h"

#include <assert.h>
#include <libpq-fe.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PREPARED_MAX = 256, ERROR_MAX = 512 };

struct pg {
    char *dsn;
    PGconn *connection;
    const struct sql *prepared[PREPARED_MAX]; /* on this connection; open addressing by address */
    size_t prepared_count;
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

static void drop_connection(struct pg *pg)
{
    PQfinish(pg->connection);
    pg->connection = NULL;
    memset(pg->prepared, 0, sizeof pg->prepared);
    pg->prepared_count = 0;
}

void pg_free(struct pg *pg)
{
    if (pg == NULL)
        return;
    drop_connection(pg);
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
    /* Settings that the SQL relies on, whatever the server's defaults are. */
    const char *const keywords[] = {
        "dbname", "fallback_application_name", "connect_timeout", "client_encoding", "options", NULL};
    const char *const values[] = {
        pg->dsn,
        "depositd",
        "5",
        "UTF8",
        "-c DateStyle=ISO,YMD -c TimeZone=UTC -c bytea_output=hex -c synchronous_commit=on "
        "-c default_transaction_isolation=read\\ committed -c lock_timeout=30s",
        NULL};
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

/* The one place where an SQLSTATE gets its meaning. */
static enum store_result result_of_state(const char *state)
{
    static const struct {
        const char *prefix;
        enum store_result result;
    } meanings[] = {
        {"40", STORE_CONFLICT},        /* serialization failure, deadlock */
        {"55P03", STORE_CONFLICT},     /* lock not available in time */
        {"22003", STORE_OUT_OF_RANGE}, /* numeric value out of range */
        {"22", STORE_REFUSED},         /* other data exceptions */
        {"23", STORE_REFUSED},         /* integrity constraints */
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
    log_write(meaning == STORE_FAILED ? LOG_ERROR : LOG_WARNING, "a statement failed", "statement", statement,
              "sqlstate", state, "error", pg->error, NULL);
    return meaning;
}

static enum store_result run_text(struct pg *pg, const char *text)
{
    if (pg->connection == NULL)
        return STORE_UNAVAILABLE;
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

enum store_result pg_commit(struct pg *pg)
{
    if (pg->connection == NULL)
        return STORE_UNAVAILABLE;
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

void pg_rollback(struct pg *pg)
{
    if (pg->connection == NULL || PQtransactionStatus(pg->connection) == PQTRANS_IDLE)
        return;
    PGresult *result = PQexec(pg->connection, "ROLLBACK");
    if (PQresultStatus(result) != PGRES_COMMAND_OK)
        drop_connection(pg);
    PQclear(result);
}

/* Where the statement is, or would be, in the table of prepared ones. */
static const struct sql **prepared_slot(struct pg *pg, const struct sql *sql)
{
    size_t slot = ((uintptr_t)sql / sizeof *sql) % PREPARED_MAX;
    while (pg->prepared[slot] != NULL && pg->prepared[slot] != sql)
        slot = (slot + 1) % PREPARED_MAX;
    return &pg->prepared[slot];
}

static enum store_result prepare(struct pg *pg, const struct sql *sql, const struct pg_params *params)
{
    const struct sql **slot = prepared_slot(pg, sql);
    if (*slot == sql)
        return STORE_OK;
    assert(pg->prepared_count < PREPARED_MAX - 1);
    PGresult *result = PQprepare(pg->connection, sql->name, sql->text, params->count, params->types);
    enum store_result answer = STORE_OK;
    if (PQresultStatus(result) != PGRES_COMMAND_OK) {
        answer = failure(pg, result, sql->name);
    } else {
        *slot = sql;
        pg->prepared_count++;
    }
    PQclear(result);
    return answer;
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
