/* SPDX-License-Identifier: ISC */
/* A transaction of its own, with one statement. */
#include "store/ready_store.h"

#include "sql.h"

enum store_result store_try_commit(struct pg *pg)
{
    PG_ROWS rows = NULL;
    enum store_result result = pg_begin(pg);
    if (result == STORE_OK)
        result = pg_query(pg, &sql_ready, NULL, &rows);
    if (result == STORE_OK && !pg_bool(rows, 0, 0))
        result = STORE_UNAVAILABLE;
    if (result == STORE_OK)
        result = pg_commit(pg);
    if (result != STORE_OK)
        pg_rollback(pg);
    return result;
}
