/* SPDX-License-Identifier: ISC */
/* Whether an event that is posted now would be recorded, as far as can be known: a thread with a connection
 * of its own tries a commit and looks at the schema, once a second while anybody asks and every few seconds
 * while nobody does. Whoever asks is given what it last saw, together with how the writer fares: asking never
 * waits, and costs the database nothing. */
#ifndef DEPOSITD_APP_SERVICE_PROBE_H
#define DEPOSITD_APP_SERVICE_PROBE_H

#include "app/posting/intake.h"

struct probe;

/* NULL: no memory or no thread. */
MUST_CHECK struct probe *probe_start(const struct config *config, struct intake *intake,
                                     const struct pg_stop *stop);
void probe_stop(struct probe *probe);

/* NULL: ready. Else why not, for the one who asks; a constant. Any thread. */
const char *probe_ask(struct probe *probe);

#endif
