/* SPDX-License-Identifier: ISC */
/* Tells as far as possible whether an event that is posted now would be recorded. A thread with its own
 * connection tries a commit and looks at the schema, once a second while there are callers and every few
 * seconds while there are none. A caller gets the last result, together with the state of the writer. So
 * asking never waits, and costs the database nothing. */
#ifndef DEPOSITD_APP_SERVICE_PROBE_H
#define DEPOSITD_APP_SERVICE_PROBE_H

#include "app/posting/groups.h"

struct probe;

/* NULL: no memory or no thread. */
MUST_CHECK struct probe *probe_start(const struct config *config, struct groups *groups,
                                     const struct pg_stop *stop);
void probe_stop(struct probe *probe);

/* NULL: ready. Otherwise the reason why not, as a constant text for the caller. Any thread. */
const char *probe_ask(struct probe *probe);

#endif
