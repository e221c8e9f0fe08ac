/* SPDX-License-Identifier: ISC */
/* The table of results after which a transaction is tried again. */
#include "app/transaction/retry.h"

static const struct {
    enum store_result result;
    int attempts_max[RETRYING_LIMIT]; /* with the first one */
} rules[] = {
    /* A race was lost: a deadlock, an id taken by another, reference data newer than the snapshot. */
    {STORE_CONFLICT, {[RETRYING_OFFICE] = 5, [RETRYING_WRITER] = 5}},
    /* The head row was not free in time. Only the writer limits that time. */
    {STORE_LOCKED, {[RETRYING_OFFICE] = 1, [RETRYING_WRITER] = 5}},
    /* The connection broke. It may have done so while the writer had nothing to do. */
    {STORE_UNAVAILABLE, {[RETRYING_OFFICE] = 1, [RETRYING_WRITER] = 2}},
};

bool retry_is_due(enum retrying who, enum store_result result, int attempts)
{
    for (size_t i = 0; i < sizeof rules / sizeof rules[0]; i++)
        if (rules[i].result == result)
            return attempts < rules[i].attempts_max[who];
    return false;
}
