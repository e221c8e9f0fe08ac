/* SPDX-License-Identifier: ISC */
/* The table of reasons as data. */
#include "depositd/reason.h"

#include <assert.h>
#include <string.h>

static const struct reason_info reasons[REASON_COUNT] = {
#define X(name, code, status, retryable, title) [REASON_##name] = {#code, status, retryable, title},
    REASON_TABLE(X)
#undef X
};

const struct reason_info *reason_info(enum reason reason)
{
    assert(reason > REASON_NONE && reason < REASON_COUNT);
    return &reasons[reason];
}

enum reason reason_find(const char *code)
{
    int reason = REASON_NONE + 1;
    while (reason < REASON_COUNT && strcmp(reasons[reason].code, code) != 0)
        reason++;
    return reason < REASON_COUNT ? (enum reason)reason : REASON_NONE;
}
