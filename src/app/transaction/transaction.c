/* SPDX-License-Identifier: ISC */
/* Commit or roll back. */
#include "app/transaction/transaction.h"

enum store_result transaction_end(struct pg *pg, enum store_result result, const struct faults *faults,
                                  bool keep)
{
    if (result == STORE_OK && faults->count == 0 && keep)
        result = pg_commit(pg);
    pg_rollback(pg); /* does nothing after a commit */
    return result;
}
