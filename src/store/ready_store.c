/* SPDX-License-Identifier: ISC */
/* A transaction of its own. */
#include "store/ready_store.h"

#include "sql.h"
#include "store/pg_ask.h"

static enum store_result look(struct pg *pg, struct readiness *readiness)
{
    enum store_result result =
        pg_ask(pg, &sql_ready, PG_NO_ARGS, pg_one(NULL, take_bool, &readiness->writable));
    if (result != STORE_OK)
        return result;
    return pg_ask(pg, &sql_migrate_version, PG_NO_ARGS, pg_one(NULL, take_int, &readiness->version));
}

enum store_result store_try_commit(struct pg *pg, struct readiness *readiness)
{
    enum store_result result = pg_begin(pg);
    if (result == STORE_OK)
        result = look(pg, readiness);
    if (result == STORE_OK)
        result = pg_commit(pg);
    if (result != STORE_OK)
        pg_rollback(pg);
    else if (!readiness->writable) /* a session may stay read-only when the database no longer is */
        pg_disconnect(pg);
    return result;
}
