/* SPDX-License-Identifier: ISC */
/* Keeps the body of a write that waits for a second person, as the request had it. */
#include "http/resources/proposing.h"

#include "base/clock.h"
#include "http/request/json_text.h"

#include <stdlib.h>
#include <string.h>

struct control control_of(const struct request *request, struct answer *answer, enum proposal_what what,
                          const char *name)
{
    char *text = request->json != NULL ? json_dumps(request->json, JSON_COMPACT | JSON_SORT_KEYS) : NULL;
    struct control control = {
        .what = what,
        .name = name,
        .body = text != NULL ? arena_copy(request->arena, text, strlen(text))
                             : NULL, /* json_dumps' text is not kept */
        .author = {.key = request->identity->key},
        .now = clock_now(),
        .dry_run = request->dry_run,
        .json = &answer->body,
    };
    free(text);
    return control;
}

const char *proposal_status_asked(const struct request *request, struct answer *answer, const char *fault)
{
    const char *asked = request_query(request, "status");
    size_t i = PROPOSAL_OPEN;
    while (asked != NULL && i < PROPOSAL_STATUSES && strcmp(asked, proposal_status_words[i]) != 0)
        i++;
    if (i == PROPOSAL_STATUSES)
        faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "status", "%s", fault);
    return proposal_status_words[i];
}

bool proposed_asked(const struct request *request, struct answer *answer, const char *fault, bool *is_mine,
                    struct proposed_filter *filter)
{
    *filter = (struct proposed_filter){.status = proposal_status_asked(request, answer, fault),
                                       .key = request->identity->key};
    if (filter->status == NULL || !request_flag(request, answer, "mine", is_mine, &filter->mine))
        return false;
    if (filter->mine == NULL || strcmp(filter->status, proposal_status_words[PROPOSAL_OPEN]) == 0)
        return true;
    faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "mine",
                         "tells open ones apart: it goes with no other status");
    return false;
}

void answer_proposed(const struct request *request, struct answer *answer)
{
    answer->status = 202;
    if (request->dry_run)
        answer_mark_dry_run(answer);
}

void answer_changes(const struct request *request, struct answer *answer, const struct control *control)
{
    if (!request->dry_run || control->proposed || answer->faults.count > 0)
        return;
    object_reopen(&answer->body);
    buffer_add_text(&answer->body, ",\"changes\":");
    buffer_add(&answer->body, control->changes->data, control->changes->length);
    buffer_printf(&answer->body, ",\"more_changes\":%lld}", (long long)control->more_changes);
    answer->body.failed = answer->body.failed || control->changes->failed;
}
