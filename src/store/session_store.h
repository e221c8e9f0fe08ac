/* SPDX-License-Identifier: ISC */
/* Sessions of browsers in the database. Only the hash of a cookie is stored. */
#ifndef DEPOSITD_STORE_SESSION_STORE_H
#define DEPOSITD_STORE_SESSION_STORE_H

#include "depositd/access.h"
#include "store/pg.h"

struct session_row {
    int32_t key;
    struct sha256 cookie_hash;
    struct sha256 secret_hash; /* of the key's secret that was given */
    struct instant now;
};
/* *session: the new session's number; 0: the key has been revoked or renewed. */
MUST_CHECK enum store_result store_session_begin(struct pg *pg, const struct session_row *row,
                                                 int64_t *session);

/* How long a session may last, and the moment for which that is asked. */
struct session_bounds {
    struct instant now;
    int64_t idle_s;         /* since it was seen last */
    int64_t counter_idle_s; /* the same if its key has the role pos */
    int64_t most_s;         /* since it began */
};

struct found_session {
    int64_t session; /* 0: there is none in force */
    int32_t key;
};
/* Finds a session in force, and notes that it was seen. */
MUST_CHECK enum store_result store_session_find(struct pg *pg, const struct sha256 *cookie_hash,
                                                const struct session_bounds *bounds,
                                                struct found_session *session);

/* *found: the key had this session, and it has not ended before. */
MUST_CHECK enum store_result store_session_end(struct pg *pg, int32_t key, int64_t session,
                                               struct instant now, bool *found);

/* A form that a session sends. */
struct sent_form {
    bool first;           /* it has not been sent before */
    const char *location; /* the page that it led to before; NULL: none, or not yet */
};
MUST_CHECK enum store_result store_form_begin(struct pg *pg, struct arena *arena, int64_t session,
                                              const struct uuid *once, struct instant now,
                                              struct sent_form *sent);
MUST_CHECK enum store_result store_form_end(struct pg *pg, int64_t session, const struct uuid *once,
                                            const char *location);

struct list_slice;
/* The key's sessions. `asking`: the session that asks; 0: none. */
MUST_CHECK enum store_result read_sessions(struct pg *pg, int32_t key, int64_t asking,
                                           const struct session_bounds *bounds, struct list_slice *slice);

#endif
