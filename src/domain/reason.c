/* SPDX-License-Identifier: ISC */
/* The table of reasons as data. */
#include "depositd/reason.h"

#include <assert.h>

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
