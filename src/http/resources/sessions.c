/* SPDX-License-Identifier: ISC */
/* /v1/me/sessions: the browsers that have signed in with the key. */
#include "http/resources/handlers.h"

#include "app/network/sessions.h"
#include "http/request/slice.h"

void handle_sessions_list(const struct request *request, struct answer *answer)
{
    struct list_slice slice;
    const struct session_bounds bounds = session_bounds_now(request->service->config);
    if (!slice_begin(request, answer, &slice))
        return;
    enum store_result result =
        read_sessions(request->pg, request->identity->key, request->session, &bounds, &slice);
    slice_end(request, answer, result, &slice);
}

void handle_session_delete(const struct request *request, struct answer *answer)
{
    bool found = false;
    enum store_result result = session_end(request->pg, request->identity->key,
                                           path_number(request->parts[0]), request->dry_run, &found);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (!found)
        answer_not_found(answer);
    else
        answer->status = 204;
}
