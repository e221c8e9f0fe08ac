/* SPDX-License-Identifier: ISC */
/* A scheme's business days. */
#include "http/resources/handlers.h"

#include "http/request/slice.h"

void handle_days_list(const struct request *request, struct answer *answer)
{
    struct list_slice slice;
    const struct scheme *scheme = request_scheme(request, answer, request->parts[0]);
    if (scheme == NULL || !slice_begin(request, answer, &slice))
        return;
    enum store_result result = read_days(request->pg, scheme->id, &slice);
    slice_end(request, answer, result, &slice);
}
