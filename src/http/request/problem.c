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
    if (faults->dropped > 0)
        member_integer(document, "more_errors", (int64_t)faults->dropped);
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

static const struct {
    int status;
    const char *advice;
} advices[] = {
    {400, "Correct the request: it is not written as the service can read it."},
    {401, "Sign in, or send a valid key."},
    {403, "Use a key that may do this, from the service's own pages."},
    {404, "Check the address. Either nothing has it, or this key may not know of it."},
    {405, "Use a method that the header Allow of the answer names."},
    {406, "Ask for a form that the service has, such as JSON."},
    {408, "Send it again, without long pauses."},
    {409, "Look at the thing as it is now, and decide then."},
    {412, "Read the thing again, and make the change to what it is now."},
    {413, "Send less at once."},
    {414, "Send a shorter address."},
    {415, "Send the body as a type that the operation takes."},
    {422, "Correct what the answer names, then send it again."},
    {429, "Wait a little, then send it again."},
    {431, "Send fewer or shorter header fields."},
    {500, "Tell the operator of the service, with the id of the request."},
    {501, "Use a method and a coding that the service has."},
    {503, "Wait a little, then send it again."},
    {505, "Use HTTP/1.1."},
};

const char *problem_advice(enum reason reason)
{
    for (size_t i = 0; i < sizeof advices / sizeof advices[0]; i++)
        if (advices[i].status == reason_info(reason)->status)
            return advices[i].advice;
    return NULL;
}
