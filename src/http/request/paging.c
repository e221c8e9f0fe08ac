/* SPDX-License-Identifier: ISC */
/* A cursor is the key of the last item: codes, dates and slashes, which need no escaping in a query. */
#include "http/request/paging.h"

#include <string.h>

static bool is_cursor(const char *text)
{
    size_t length = strlen(text);
    return length > 0 && length < SLICE_KEY_SIZE &&
           strspn(text, "abcdefghijklmnopqrstuvwxyz0123456789-/") == length;
}

bool paging_read(const struct request *request, struct answer *answer, struct paging *paging)
{
    *paging = (struct paging){.request = request, .after = request_query(request, "cursor")};
    bool valid = request_limit(request, answer, &paging->limit);
    if (paging->after != NULL && !is_cursor(paging->after)) {
        faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "cursor",
                             "must be next of the page before");
        valid = false;
    }
    return valid;
}

bool paging_begin(const struct request *request, struct answer *answer, struct paging *paging)
{
    buffer_add_text(&answer->body, "{\"items\":[");
    return paging_read(request, answer, paging);
}

void paging_end(const struct paging *paging, const struct json_slice *slice, struct answer *answer)
{
    buffer_add_char(&answer->body, ']');
    if (slice->more) {
        buffer_printf(&answer->body, ",\"next\":\"%s\"", slice->last);
        answer->link_next = request_target(paging->request, "cursor", slice->last);
    }
    buffer_add_char(&answer->body, '}');
}
