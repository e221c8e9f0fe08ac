/* SPDX-License-Identifier: ISC */
/* A connection to PostgreSQL: how it is made, how long it may wait, and how it ends. store/pg.h says what all
 * calls have in common. */
#ifndef DEPOSITD_STORE_PG_CONNECTION_H
#define DEPOSITD_STORE_PG_CONNECTION_H

#include "store/pg_bounds.h"
#include "store/store_result.h"

#include <stdbool.h>
#include <stdint.h>

struct pg;

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

/* How the last failed statement was explained by the server: for the log, and SQLSTATE for tests; "" when
 * there is nothing. */
const char *pg_last_error(const struct pg *pg);

#endif
