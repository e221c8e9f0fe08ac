/* SPDX-License-Identifier: ISC */
/* Problem details (RFC 9457). `type` is a relative reference, so a document is the same wherever the service
 * runs. */
#include "http/request/problem.h"

#include "http/request/json_text.h"

#include <assert.h>
#include <stdio.h>

static void add_error(struct buffer *document, const struct fault *fault)
{
    element_begin(document);
    buffer_add_char(document, '{');
    if (fault->parameter != NULL)
        member_string(document, "parameter", fault->parameter);
    else
        member_string(document, "pointer", fault->pointer);
    member_string(document, "reason", reason_info(fault->reason)->code);
    member_string(document, "detail", fault->detail);
    buffer_add_char(document, '}');
}

/* A fault of the whole request has no place in the request. It is the problem itself. */
static bool has_place(const struct fault *fault)
{
    return fault->pointer != NULL || fault->parameter != NULL;
}

static void add_errors(struct buffer *document, const struct faults *faults)
{
    bool any = false;
    for (size_t i = 0; i < faults->count; i++)
        any = any || has_place(&faults->items[i]);
    if (!any)
        return;
    member_begin(document, "errors");
    buffer_add_char(document, '[');
    for (size_t i = 0; i < faults->count; i++)
        if (has_place(&faults->items[i]))
            add_error(document, &faults->items[i]);
    buffer_add_char(document, ']');
}

/* Puts the place in front of the detail, unless it is there. In the list of errors, the place has its own
 * member. */
static void add_detail(struct buffer *document, const struct faults *faults)
{
    char sentence[1024];
    const struct fault *first = &faults->items[0];
    const char *place = fault_where(first);
    bool placed = place != NULL && !faults->in_words && *place != '\0' &&
                  snprintf(sentence, sizeof sentence, "%s: %s", place, first->detail) < (int)sizeof sentence;
    member_string(document, "detail", placed ? sentence : first->detail);
}

void problem_write(const struct faults *faults, struct buffer *document)
{
    assert(faults->count > 0);
    const struct reason_info *info = reason_info(faults->items[0].reason);
    buffer_printf(document, "{\"type\":\"/problems/%s\"", info->code);
    member_string(document, "title", info->title);
    member_integer(document, "status", info->status);
    add_detail(document, faults);
    member_string(document, "reason", info->code);
    member_boolean(document, "retryable", info->retryable);
    add_errors(document, faults);
    buffer_add_char(document, '}');
}

int problem_status(const struct faults *faults)
{
    return reason_info(faults->items[0].reason)->status;
}

bool problem_has_status(int status)
{
    for (int reason = REASON_NONE + 1; reason < REASON_COUNT; reason++)
        if (reason_info((enum reason)reason)->status == status)
            return true;
    return false;
}
