/* SPDX-License-Identifier: ISC */
/* The opening of a scheme from a spreadsheet: it is as of the start of the scheme's first business day. */
#include "http/events/handlers.h"
#include "http/events/opening_lines.h"

#include "depositd/civil.h"

#include <string.h>

json_t *opening_of_request(const struct request *request, struct answer *answer)
{
    char occurred_at[INSTANT_TEXT_MAX];
    struct uuid id;
    const struct scheme *scheme = request_scheme(request, answer, request->parts[0]);
    struct opening_head head = {.scheme = request->parts[0],
                                .event_id = request_query(request, "event_id"),
                                .occurred_at = occurred_at};
    if (scheme == NULL)
        return NULL;
    if (head.event_id != NULL && !uuid_parse(head.event_id, strlen(head.event_id), &id)) {
        faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "event_id", "must be a UUID");
        return NULL;
    }
    instant_format(scheme->first_start, occurred_at);
    return opening_of_lines(request->json, &head, request->csv, &answer->faults);
}
