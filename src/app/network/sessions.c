/* SPDX-License-Identifier: ISC */
/* Beginning, finding and ending. Each runs one statement. */
#include "app/network/sessions.h"

#include "app/transaction/transaction.h"
#include "base/clock.h"

enum { MINUTE_S = 60, HOUR_S = 3600 };

struct session_bounds session_bounds_now(const struct config *config)
{
    return (struct session_bounds){
        .now = clock_now(),
        .idle_s = config->session_idle_minutes * (int64_t)MINUTE_S,
        .counter_idle_s = config->counter_idle_minutes * (int64_t)MINUTE_S,
        .most_s = config->session_hours * (int64_t)HOUR_S,
    };
}

enum store_result session_begin(struct pg *pg, const struct identity *identity,
                                char cookie[static SECRET_SIZE], bool *begun)
{
    struct session_row row = {.key = identity->key, .secret_hash = identity->secret_hash, .now = clock_now()};
    int64_t session;
    if (!secret_make("ds_", cookie, &row.cookie_hash))
        return STORE_FAILED;
    enum store_result result = store_session_begin(pg, &row, &session);
    *begun = session != 0;
    return result;
}

enum store_result session_find(struct pg *pg, const struct config *config, const struct sha256 *cookie_hash,
                               struct found_session *session)
{
    const struct session_bounds bounds = session_bounds_now(config);
    return store_session_find(pg, cookie_hash, &bounds, session);
}

enum store_result session_end(struct pg *pg, int32_t key, int64_t session, bool dry_run, bool *found)
{
    const struct faults none = {.count = 0};
    *found = false;
    enum store_result result = pg_begin(pg);
    if (result == STORE_OK)
        result = store_session_end(pg, key, session, clock_now(), found);
    return transaction_end(pg, result, &none, !dry_run);
}
