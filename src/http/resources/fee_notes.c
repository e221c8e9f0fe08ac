/* SPDX-License-Identifier: ISC */
/* The fee notes of a scheme: their list, and a single one. */
#include "http/resources/handlers.h"

#include "http/request/slice.h"
#include "http/request/visible.h"

#include <stdlib.h>
#include <string.h>

enum { NUMBER_DIGITS_MAX = 9 };

/* Finds the participant that the list is asked for. *id stays 0 if it is for all. False: a fault was added.
 */
static bool participant_asked(const struct request *request, struct answer *answer, int32_t *id)
{
    const char *code = request_query(request, "participant");
    const struct participant *participant =
        code != NULL ? network_participant(&request->snapshot->network, code) : NULL;
    *id = participant != NULL ? participant->id : 0;
    if (code == NULL || (participant != NULL && (role_reach(request->identity->role) != REACH_PARTICIPANT ||
                                                 request->identity->participant == participant->id)))
        return true;
    faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "participant",
                         "there is no such participant");
    return false;
}

void handle_fee_notes_list(const struct request *request, struct answer *answer)
{
    struct list_slice slice;
    struct visible_sites visible;
    int32_t participant;
    const struct scheme *scheme = request_scheme(request, answer, request_query(request, "scheme"));
    if (scheme == NULL || !request_visible(request, answer, &visible) ||
        !participant_asked(request, answer, &participant) || !slice_begin(request, answer, &slice))
        return;
    enum store_result result = read_fee_notes(request->pg, scheme->id, participant, &visible, &slice);
    slice_end(request, answer, result, &slice);
}

/* 0: it is no number that a note may have. */
static int64_t number_of(const char *text)
{
    size_t length = strlen(text);
    bool plain = length >= 1 && length <= NUMBER_DIGITS_MAX && strspn(text, "0123456789") == length;
    return plain && text[0] != '0' ? strtoll(text, NULL, 10) : 0;
}

void handle_fee_note_get(const struct request *request, struct answer *answer)
{
    struct visible_sites visible;
    bool found = false;
    const struct scheme *scheme = request_scheme(request, answer, request->parts[0]);
    if (scheme == NULL || !request_visible(request, answer, &visible))
        return;
    enum store_result result =
        read_fee_note(request->pg, scheme->id, number_of(request->parts[1]), &visible, &answer->body, &found);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (!found)
        answer_not_found(answer);
}
