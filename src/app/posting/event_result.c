/* SPDX-License-Identifier: ISC */
/* The words of event statuses. */
#include "app/posting/event_result.h"

#include <assert.h>

const char *event_status_word(enum event_status status)
{
    static const char *const words[] = {
#define X(name, word) #word,
        EVENT_STATUS_TABLE(X)
#undef X
    };
    static_assert(sizeof words / sizeof words[0] == EVENT_STATUSES, "a word for each status");
    assert(status < EVENT_STATUSES);
    return words[status];
}
