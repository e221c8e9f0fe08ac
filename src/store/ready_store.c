/* SPDX-License-Identifier: ISC */
/* A transaction of its own. */
#include "store/ready_store.h"

#include "sql.h"

static enum store_result look(struct pg *pg, struct readiness *readiness)
{
    PG_ROWS writable = NULL;
    PG_ROWS version = NULL;
    enum store_result result = pg_query(pg, &sql_ready, NULL, &writable);
    if (result == STORE_OK)
        result = pg_query(pg, &sql_migrate_version, NULL, &version);
    if (result == STORE_OK)
        *readiness = (struct readiness){pg_bool(writable, 0, 0), pg_int(version, 0, 0)};
    return result;
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
