/* SPDX-License-Identifier: ISC */
/* Connecting, waiting, losing a connection, and the meanings of SQLSTATEs.
 *
 * A wait ends with an answer, at its deadline, when the service stops, or when nobody wants the answer any
 * more. In all but the first case the connection is closed at once. The server checks its connection every
 * half second (client_connection_check_interval) and then ends the statement. So no cancel request is needed;
 * libpq can send one only by waiting for the server. */
#include "store/pg_connection.h"

#include "store/pg_inside.h"

#include "base/clock.h"
#include "base/log.h"
#include "sql.h"

#include <errno.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    CONNECT_MS = 5000,
    LOOK_MS = 250,          /* the pause between two looks of a wait at `wanted` and at the stop */
    SERVER_LATER_MS = 2000, /* the server gives up a statement this much later than we do */
    OPTIONS_MAX = 512
};

/* Settings that the SQL relies on, whatever the server's defaults are. An instance that freezes within a
 * transaction, because its machine is paused, loses its locks before other instances give up waiting. A plan
 * that gathers from parallel workers may stand in a part that runs for each scheme: then they are started
 * anew for each, which took half a minute on the start page of 700 schemes. */
#define SETTINGS                                                                                             \
    "-c DateStyle=ISO,YMD -c TimeZone=UTC -c bytea_output=hex -c synchronous_commit=on "                     \
    "-c default_transaction_isolation=read\\ committed -c jit=off -c lock_timeout=30s "                      \
    "-c max_parallel_workers_per_gather=0 "                                                                  \
    "-c idle_in_transaction_session_timeout=5s -c client_connection_check_interval=500 "                     \
    "-c statement_timeout=%d%s"
#define PLAN_ONCE " -c plan_cache_mode=force_generic_plan"

struct pg *pg_new(const char *dsn, const struct pg_bounds *bounds)
{
    struct pg *pg = calloc(1, sizeof *pg);
    if (pg == NULL)
        return NULL;
    pg->bounds = *bounds;
    pg->dsn = strdup(dsn);
    if (pg->dsn != NULL)
        return pg;
    free(pg);
    return NULL;
}

void pg_free(struct pg *pg)
{
    if (pg == NULL)
        return;
    pg_drop(pg);
    free(pg->sent);
    free(pg->scratch);
    free(pg->dsn);
    free(pg);
}

void pg_plan_once(struct pg *pg)
{
    pg->plans_once = true;
}

void pg_set_deadline(struct pg *pg, int64_t at_ms)
{
    pg->deadline_ms = at_ms;
}

void pg_set_watch(struct pg *pg, bool (*wanted)(void *context), void *context)
{
    pg->wanted = wanted;
    pg->context = context;
    pg->looked_ms = clock_monotonic_ms();
}

bool pg_is_pooled(const struct pg *pg)
{
    return pg->is_pooled;
}

const char *pg_last_error(const struct pg *pg)
{
    return pg->error;
}

/* --- waiting -------------------------------------------------------------------------------------------- */

static int64_t earlier(int64_t end, int64_t other)
{
    return other != 0 && other < end ? other : end;
}

/* Call it again during a wait, because the stop may be set meanwhile. */
static int64_t with_stop(const struct pg *pg, int64_t end)
{
    return pg->bounds.stop != NULL ? earlier(end, atomic_load(&pg->bounds.stop->at_ms)) : end;
}

int64_t pg_wait_end(const struct pg *pg)
{
    return earlier(clock_monotonic_ms() + pg->bounds.statement_ms, pg->deadline_ms);
}

static bool is_wanted(struct pg *pg, int64_t now)
{
    if (pg->wanted == NULL || now - pg->looked_ms < LOOK_MS)
        return true;
    pg->looked_ms = now;
    return pg->wanted(pg->context);
}

enum store_result pg_may_go_on(struct pg *pg)
{
    int64_t now = clock_monotonic_ms();
    if (with_stop(pg, pg_wait_end(pg)) <= now)
        return STORE_TOO_SLOW;
    return is_wanted(pg, now) ? STORE_OK : STORE_UNAVAILABLE;
}

/* Waits until the socket is ready for one of the events. */
static enum store_result wait_for(struct pg *pg, short events, int64_t end)
{
    for (;;) {
        int64_t now = clock_monotonic_ms(), left = with_stop(pg, end) - now;
        struct pollfd socket = {.fd = PQsocket(pg->connection), .events = events};
        int ready = poll(&socket, 1, left <= 0 ? 0 : left < LOOK_MS ? (int)left : LOOK_MS);
        if (ready > 0)
            return STORE_OK;
        if (ready < 0 && errno != EINTR)
            return STORE_UNAVAILABLE;
        if (left <= 0)
            return STORE_TOO_SLOW;
        if (!is_wanted(pg, clock_monotonic_ms()))
            return STORE_UNAVAILABLE;
    }
}

enum store_result pg_flush(struct pg *pg, int64_t end)
{
    int pending;
    while ((pending = PQflush(pg->connection)) > 0) {
        /* The server may not read on before it has sent answers, so take them in meanwhile. */
        enum store_result waited = wait_for(pg, POLLIN | POLLOUT, end);
        if (waited != STORE_OK)
            return waited;
        if (PQconsumeInput(pg->connection) == 0)
            return STORE_UNAVAILABLE;
    }
    return pending == 0 ? STORE_OK : STORE_UNAVAILABLE;
}

enum store_result pg_next_result(struct pg *pg, int64_t end, PGresult **result)
{
    *result = NULL;
    while (PQisBusy(pg->connection)) {
        enum store_result waited = wait_for(pg, POLLIN, end);
        if (waited != STORE_OK)
            return waited;
        /* Before it closed the connection, the server may have sent the reason. */
        if (PQconsumeInput(pg->connection) == 0 && PQisBusy(pg->connection))
            return STORE_UNAVAILABLE;
    }
    *result = PQgetResult(pg->connection);
    return STORE_OK;
}

/* --- losing --------------------------------------------------------------------------------------------- */

static void keep_error(struct pg *pg, const char *message)
{
    snprintf(pg->error, sizeof pg->error, "%s", message);
    size_t length = strlen(pg->error);
    while (length > 0 && pg->error[length - 1] == '\n')
        pg->error[--length] = '\0';
}

void pg_drop(struct pg *pg)
{
    PQfinish(pg->connection);
    pg->connection = NULL;
    memset(pg->prepared, 0, sizeof pg->prepared);
    pg->prepared_count = 0;
    pg->in_pipeline = false;
    pg->is_read_only = false;
}

void pg_disconnect(struct pg *pg)
{
    pg_drop(pg);
}

enum store_result pg_lose(struct pg *pg, const char *statement, enum store_result why)
{
    bool broke = PQstatus(pg->connection) != CONNECTION_OK;
    keep_error(pg, why == STORE_TOO_SLOW ? "the database did not answer in time"
                   : broke               ? PQerrorMessage(pg->connection)
                                         : "the answer was not wanted any more, or could not be read");
    log_write(why == STORE_TOO_SLOW || broke ? LOG_WARNING : LOG_INFO,
              "the connection to the database was given up", "statement", statement, "error", pg->error,
              NULL);
    pg_drop(pg);
    return why;
}

/* No other place gives a meaning to an SQLSTATE. */
static enum store_result result_of_state(const char *state)
{
    static const struct {
        const char *prefix;
        enum store_result result;
    } meanings[] = {
        {"40", STORE_CONFLICT},        /* serialization failure, deadlock */
        {"23505", STORE_CONFLICT},     /* unique violation: somebody else was first */
        {"55P03", STORE_LOCKED},       /* lock not available in time */
        {"22003", STORE_OUT_OF_RANGE}, /* numeric value out of range */
        {"22", STORE_REFUSED},         /* other data exceptions */
        {"23", STORE_REFUSED},         /* integrity constraints */
        {"25006", STORE_UNAVAILABLE},  /* read-only: a standby, or set so */
        {"25P03", STORE_UNAVAILABLE},  /* idle in a transaction for too long */
        {"57014", STORE_TOO_SLOW},     /* canceled: it took too long, or an administrator did it */
        {"57P", STORE_UNAVAILABLE},    /* shutting down, cannot connect now, terminated by an administrator */
        {"53", STORE_UNAVAILABLE},     /* disk full, out of memory, too many connections */
        {"08", STORE_UNAVAILABLE},     /* connection exceptions */
    };
    for (size_t i = 0; i < sizeof meanings / sizeof meanings[0]; i++)
        if (strncmp(state, meanings[i].prefix, strlen(meanings[i].prefix)) == 0)
            return meanings[i].result;
    return STORE_FAILED;
}

enum store_result pg_failure(struct pg *pg, const PGresult *result, const char *statement)
{
    const char *state = result != NULL ? PQresultErrorField(result, PG_DIAG_SQLSTATE) : NULL;
    keep_error(pg, result != NULL ? PQresultErrorMessage(result) : PQerrorMessage(pg->connection));
    if (PQstatus(pg->connection) != CONNECTION_OK || state == NULL) {
        log_write(LOG_WARNING, "the connection to the database broke", "statement", statement, "error",
                  pg->error, NULL);
        pg_drop(pg);
        return STORE_UNAVAILABLE;
    }
    enum store_result meaning = result_of_state(state);
    /* Another connection may lead to a server that takes writes. */
    pg->is_read_only = strcmp(state, "25006") == 0;
    enum log_level level = meaning == STORE_FAILED                                ? LOG_ERROR
                           : meaning == STORE_CONFLICT || meaning == STORE_LOCKED ? LOG_DEBUG
                                                                                  : LOG_WARNING;
    log_write(level, "a statement failed", "statement", statement, "sqlstate", state, "error", pg->error,
              NULL);
    return meaning;
}

/* --- connecting ----------------------------------------------------------------------------------------- */

static void ignore_notice(void *context, const char *message)
{
    (void)context;
    (void)message;
}

/* The connection string overrides the keywords before "dbname", and is overridden by those after it. */
static PGconn *start_connecting(const struct pg *pg)
{
    char options[OPTIONS_MAX];
    snprintf(options, sizeof options, SETTINGS, pg->bounds.statement_ms + SERVER_LATER_MS,
             pg->plans_once ? PLAN_ONCE : "");
    const char *const keywords[] = {"keepalives_idle",
                                    "keepalives_interval",
                                    "keepalives_count",
                                    "tcp_user_timeout",
                                    "dbname",
                                    "fallback_application_name",
                                    "client_encoding",
                                    "options",
                                    NULL};
    const char *const values[] = {"10", "5", "3", "15000", pg->dsn, "depositd", "UTF8", options, NULL};
    return PQconnectStartParams(keywords, values, 1);
}

static enum store_result finish_connecting(struct pg *pg, int64_t end)
{
    PostgresPollingStatusType next = PGRES_POLLING_WRITING;
    if (PQstatus(pg->connection) == CONNECTION_BAD)
        return STORE_UNAVAILABLE;
    while (next != PGRES_POLLING_OK) {
        enum store_result waited = wait_for(pg, next == PGRES_POLLING_WRITING ? POLLOUT : POLLIN, end);
        if (waited != STORE_OK)
            return waited;
        next = PQconnectPoll(pg->connection);
        if (next == PGRES_POLLING_FAILED)
            return STORE_UNAVAILABLE;
    }
    return PQsetnonblocking(pg->connection, 1) == 0 ? STORE_OK : STORE_UNAVAILABLE;
}

/* Behind a pooler, statements run in another process than the one that libpq was told of. Then neither
 * prepared statements nor settings can be relied on. */
static enum store_result look_for_pooler(struct pg *pg, int64_t end)
{
    PGresult *result = NULL, *none = NULL;
    if (PQsendQuery(pg->connection, sql_connection_process.text) == 0)
        return STORE_UNAVAILABLE;
    enum store_result waited = pg_flush(pg, end);
    if (waited == STORE_OK)
        waited = pg_next_result(pg, end, &result);
    if (waited == STORE_OK && PQresultStatus(result) != PGRES_TUPLES_OK)
        waited = STORE_UNAVAILABLE;
    if (waited == STORE_OK)
        pg->is_pooled = atoi(PQgetvalue(result, 0, 0)) != PQbackendPID(pg->connection);
    PQclear(result);
    if (waited == STORE_OK)
        waited = pg_next_result(pg, end, &none);
    PQclear(none);
    return waited == STORE_OK && none != NULL ? STORE_UNAVAILABLE : waited;
}

/* Logs one line when a pooler is first met, not one for each attempt. */
static enum store_result refuse_pooler(struct pg *pg, bool was_pooled)
{
    keep_error(pg, "the dsn leads to a connection pooler, which may give each transaction to another "
                   "session: connect to "
                   "PostgreSQL itself");
    if (!was_pooled)
        log_write(LOG_ERROR, "no connection to the database", "error", pg->error, NULL);
    pg_drop(pg);
    return STORE_UNAVAILABLE;
}

static enum store_result connect_anew(struct pg *pg)
{
    bool was_pooled = pg->is_pooled;
    int64_t end = earlier(pg_wait_end(pg), clock_monotonic_ms() + CONNECT_MS);
    pg->is_pooled = false;
    pg->connection = start_connecting(pg);
    enum store_result result = finish_connecting(pg, end);
    if (result == STORE_OK) {
        PQsetNoticeProcessor(pg->connection, ignore_notice, NULL);
        result = look_for_pooler(pg, end);
    }
    if (result == STORE_OK)
        return pg->is_pooled ? refuse_pooler(pg, was_pooled) : STORE_OK;
    keep_error(pg, result == STORE_TOO_SLOW ? "the database did not answer in time"
                                            : PQerrorMessage(pg->connection));
    log_write(LOG_WARNING, "no connection to the database", "error", pg->error, NULL);
    pg_drop(pg);
    return STORE_UNAVAILABLE;
}

enum store_result pg_ready(struct pg *pg)
{
    if (pg->connection != NULL && PQstatus(pg->connection) == CONNECTION_OK && !pg->is_read_only)
        return STORE_OK;
    pg_drop(pg);
    enum store_result result = pg_may_go_on(pg);
    return result == STORE_OK ? connect_anew(pg) : result;
}

void pg_notice_closed(struct pg *pg)
{
    /* The server's last message arrives before the end of the connection, so read until both are seen. */
    while (pg->connection != NULL) {
        struct pollfd socket = {.fd = PQsocket(pg->connection), .events = POLLIN};
        if (poll(&socket, 1, 0) <= 0)
            return;
        if (PQconsumeInput(pg->connection) == 0 || PQstatus(pg->connection) != CONNECTION_OK)
            pg_drop(pg);
    }
}
