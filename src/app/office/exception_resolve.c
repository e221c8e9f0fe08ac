/* SPDX-License-Identifier: ISC */
/* Writes first and reads afterwards. So if two calls come at once, the second waits for the first, and sees
 * its result. */
#include "app/office/exception_resolve.h"

#include "app/transaction/transaction.h"
#include "base/clock.h"

static enum store_result resolve(struct pg *pg, const struct exception_resolving *resolving,
                                 struct buffer *json, struct faults *faults)
{
    bool found = false, as_said = false;
    enum store_result result = store_exception_resolve(pg, resolving);
    if (result == STORE_OK)
        result = store_exception_get(pg, resolving, json, &found, &as_said);
    if (result != STORE_OK)
        return result;
    if (!found)
        faults_add(faults, REASON_NOT_FOUND, NULL, "there is no such exception");
    else if (!as_said)
        faults_refuse(faults, REASON_ALREADY_RESOLVED);
    return STORE_OK;
}

enum store_result exception_resolve(struct pg *pg, struct exception_resolving *resolving, bool dry_run,
                                    struct buffer *json, struct faults *faults)
{
    resolving->now = clock_now();
    enum store_result result = pg_begin(pg);
    if (result == STORE_OK)
        result = resolve(pg, resolving, json, faults);
    return transaction_end(pg, result, faults, !dry_run);
}
