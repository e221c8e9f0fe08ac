/* SPDX-License-Identifier: ISC */
/* GET /v1/changes: the history of reference data, terms and keys. For each change: the key, the time, the
 * values before and after, and the reason. */
#include "http/resources/handlers.h"

#include "http/request/slice.h"
#include "store/change_store.h"

#include <string.h>

static bool is_change_word(const char *word)
{
    for (size_t i = 0; change_words[i] != NULL; i++)
        if (strcmp(change_words[i], word) == 0)
            return true;
    return false;
}

/* Keeps the days while the statement runs. */
struct span {
    struct date from, to;
};

static bool filter_asked(const struct request *request, struct answer *answer, struct span *span,
                         struct changes_filter *filter)
{
    const char *code = request_query(request, "scheme");
    const struct scheme *scheme = code != NULL ? request_scheme(request, answer, code) : NULL;
    if (code != NULL && scheme == NULL)
        return false;
    filter->scheme = scheme != NULL ? scheme->id : 0;
    filter->of = request_query(request, "of");
    filter->by = request_query(request, "by");
    if (filter->of != NULL && !is_change_word(filter->of))
        faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "of", "is no kind of change");
    *span = (struct span){.from = {INT32_MIN}, .to = {INT32_MAX}};
    if (!request_date(request, answer, "from", &span->from) ||
        !request_date(request, answer, "to", &span->to))
        return false;
    filter->from = span->from.days != INT32_MIN ? &span->from : NULL;
    filter->to = span->to.days != INT32_MAX ? &span->to : NULL;
    return answer->faults.count == 0;
}

void handle_changes_list(const struct request *request, struct answer *answer)
{
    struct changes_filter filter;
    struct span span;
    struct list_slice slice;
    if (!filter_asked(request, answer, &span, &filter) || !slice_begin(request, answer, &slice))
        return;
    enum store_result result = read_changes(request->pg, &filter, &slice);
    slice_end(request, answer, result, &slice);
}
