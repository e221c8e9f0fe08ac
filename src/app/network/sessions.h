/* SPDX-License-Identifier: ISC */
/* Sessions of browsers. A person signs in once with a key's name and secret; then the browser sends a cookie.
 * A session ends when the person signs out, after session_idle_minutes without a request
 * (counter_idle_minutes for the role pos), after session_hours, and when the key is revoked or gets another
 * secret. */
#ifndef DEPOSITD_APP_NETWORK_SESSIONS_H
#define DEPOSITD_APP_NETWORK_SESSIONS_H

#include "app/network/secret.h"
#include "base/config.h"
#include "store/session_store.h"

/* Begins a session of the key. `cookie` is its secret, which only the browser keeps. *begun is false if the
 * key is not in force any more. */
MUST_CHECK enum store_result session_begin(struct pg *pg, const struct identity *identity,
                                           char cookie[static SECRET_SIZE], bool *begun);

/* Finds the session in force whose cookie has this hash. */
MUST_CHECK enum store_result session_find(struct pg *pg, const struct config *config,
                                          const struct sha256 *cookie_hash, struct found_session *session);

/* Ends a session of the key. *found: the key had it, and it had not ended before. */
MUST_CHECK enum store_result session_end(struct pg *pg, int32_t key, int64_t session, bool dry_run,
                                         bool *found);

/* Now, and how long a session lasts. */
struct session_bounds session_bounds_now(const struct config *config);

#endif
