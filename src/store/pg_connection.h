/* SPDX-License-Identifier: ISC */
/* A connection to PostgreSQL: how it is made, how long it may wait, and how it ends. store/pg.h describes the
 * properties that all calls share. */
#ifndef DEPOSITD_STORE_PG_CONNECTION_H
#define DEPOSITD_STORE_PG_CONNECTION_H

#include "store/pg_bounds.h"
#include "store/store_result.h"

#include <stdbool.h>
#include <stdint.h>

struct pg;

/* Does not connect: pg_ready does, and connects again after a break. Copies `dsn`. NULL: out of memory. */
MUST_CHECK struct pg *pg_new(const char *dsn, const struct pg_bounds *bounds);
/* No wait lasts beyond this moment of clock_monotonic_ms, and no statement begins after it; 0: only the
 * bounds count. */
void pg_set_deadline(struct pg *pg, int64_t at_ms);
/* While the connection waits, it asks `wanted` a few times a second. If `wanted` returns false, the
 * connection is dropped and the call returns STORE_UNAVAILABLE. NULL: it asks nobody. */
void pg_set_watch(struct pg *pg, bool (*wanted)(void *context), void *context);
/* Whether pg_ready last found a connection pooler in place of PostgreSQL, and refused it. */
bool pg_is_pooled(const struct pg *pg);
/* Lets the server plan each statement once, instead of anew for the parameters at hand. The writer, which has
 * few statements, wants that. To be called before the connection is made. */
void pg_plan_once(struct pg *pg);
void pg_free(struct pg *pg);
/* Connects if it is not connected. */
MUST_CHECK enum store_result pg_ready(struct pg *pg);

/* Drops a connection that the server closed while it was idle. A transaction that began on it would break
 * with an unknown outcome. To be called outside of transactions; does not block. */
void pg_notice_closed(struct pg *pg);

/* Closes the connection, so that the next use makes a new one. Does not block. */
void pg_disconnect(struct pg *pg);

/* The server's message about the last statement that failed; "": none. */
const char *pg_last_error(const struct pg *pg);

#endif
