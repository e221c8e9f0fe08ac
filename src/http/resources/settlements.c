/* SPDX-License-Identifier: ISC */
/* The settlements of closed days: their list, and a single settlement as JSON, as a page or, through its
 * report, as CSV. */
#include "http/resources/handlers.h"

#include "http/request/slice.h"
#include "http/request/visible.h"
#include "http/resources/report_answer.h"

#include <string.h>

void handle_settlements_list(const struct request *request, struct answer *answer)
{
    struct list_slice slice;
    struct visible_sites visible;
    const struct scheme *scheme = request_scheme(request, answer, request_query(request, "scheme"));
    if (scheme == NULL || !request_visible(request, answer, &visible) ||
        !slice_begin(request, answer, &slice))
        return;
    enum store_result result = read_settlements(request->pg, scheme->id, &visible, &slice);
    slice_end(request, answer, result, &slice);
}

void handle_settlement_get(const struct request *request, struct answer *answer)
{
    struct date day;
    struct visible_sites visible;
    bool found = false;
    const struct scheme *scheme = request_scheme(request, answer, request->parts[0]);
    if (scheme == NULL || !request_visible(request, answer, &visible))
        return;
    if (!date_parse(request->parts[1], strlen(request->parts[1]), &day)) {
        answer_not_found(answer);
        return;
    }
    enum store_result result = read_settlement(request->pg, scheme->id, day, &visible, &answer->body, &found);
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
    } else if (!found) {
        answer_not_found(answer);
    } else if (answer->media == MEDIA_CSV) {
        buffer_reset(&answer->body);
        answer_day_report(request, answer, "settlement", scheme, day);
    }
}
