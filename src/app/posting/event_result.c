/* SPDX-License-Identifier: ISC */
/* The words of event statuses. */
#include "app/posting/event_result.h"

#include <assert.h>

const char *event_status_word(enum event_status status)
{
    static const char *const words[EVENT_STATUSES] = {
#define X(name, word) [EVENT_##name] = #word,
        EVENT_STATUS_TABLE(X)
#undef X
    };
    assert(status < EVENT_STATUSES);
    return words[status];
}
