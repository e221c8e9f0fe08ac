/* SPDX-License-Identifier: ISC */
/* Cups with identity: their list, and a single one with its history. A key that is bound to sites sees what
 * happened at these. */
#include "http/request/slice.h"
#include "http/request/visible.h"
#include "http/resources/handlers.h"
#include "store/cup_store.h"

#include <string.h>

enum { SIGHTINGS_SHOWN = 1000 };

void handle_cups_list(const struct request *request, struct answer *answer)
{
    struct list_slice slice;
    struct visible_sites visible;
    struct cup_id id;
    const char *text = request_query(request, "cup_id");
    if (!request_visible(request, answer, &visible))
        return;
    if (text != NULL && !cup_id_parse(text, strlen(text), &id)) {
        faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "cup_id",
                             "is no GRAI with a serial number (AI 8003)");
        return;
    }
    if (!slice_begin(request, answer, &slice))
        return;
    enum store_result result = read_cups(request->pg, text != NULL ? &id : NULL, &visible, &slice);
    slice_end(request, answer, result, &slice);
}

void handle_cup_get(const struct request *request, struct answer *answer)
{
    struct visible_sites visible;
    struct cup_id id;
    bool found = false;
    enum store_result result = STORE_OK;
    const char *text = request->parts[0];
    if (!request_visible(request, answer, &visible))
        return;
    if (cup_id_parse(text, strlen(text), &id))
        result = read_cup(request->pg, &id, &visible, SIGHTINGS_SHOWN, &answer->body, &found);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (!found)
        answer_not_found(answer);
}
