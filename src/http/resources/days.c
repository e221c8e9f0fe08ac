/* SPDX-License-Identifier: ISC */
/* A scheme's business days. */
#include "http/resources/handlers.h"

#include "http/request/slice.h"

#include <string.h>

static bool missing_asked(const struct request *request, struct answer *answer, const char **missing)
{
    *missing = request_query(request, "missing");
    if (*missing == NULL || strcmp(*missing, "close") == 0 || strcmp(*missing, "statement") == 0)
        return true;
    faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "missing", "must be close or statement");
    return false;
}

void handle_days_list(const struct request *request, struct answer *answer)
{
    struct list_slice slice;
    const char *missing;
    const struct scheme *scheme = request_scheme(request, answer, request->parts[0]);
    if (scheme == NULL || !missing_asked(request, answer, &missing) || !slice_begin(request, answer, &slice))
        return;
    enum store_result result = read_days(request->pg, scheme->id, missing, &slice);
    slice_end(request, answer, result, &slice);
}
