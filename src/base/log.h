/* SPDX-License-Identifier: ISC */
/* The log: one line of logfmt (key=value) to standard error per message, written with a single write(2).
 *
 * A message is a constant phrase; all that varies goes into the fields, whose values are quoted and escaped
 * where they need it. Never log a secret, nor an event's content. Thread-safe. */
#ifndef DEPOSITD_BASE_LOG_H
#define DEPOSITD_BASE_LOG_H

#include "depositd/attributes.h"

#include <stdbool.h>

enum log_level { LOG_DEBUG, LOG_INFO, LOG_WARNING, LOG_ERROR };

void log_set_level(enum log_level level);
/* "debug", "info", "warning" or "error". */
MUST_CHECK bool log_level_parse(const char *text, enum log_level *level);

/* log_write(LOG_INFO, "day closed", "scheme", code, "date", text, NULL): pairs of key and value, both
 * char pointers, ended by a NULL key. Lines longer than 4 kB are cut. */
void log_write(enum log_level level, const char *message, ...) __attribute__((sentinel));

#endif
