/* SPDX-License-Identifier: ISC */
/* A cursor is the key of the last item: codes, dates and slashes, which need no escaping in a query. */
#include "http/paging.h"

#include <string.h>

enum { LINK_MAX = 8192 };

/* Percent-encodes all but the unreserved characters (RFC 3986 section 2.3). */
static void add_encoded(struct buffer *text, const char *value)
{
    for (; *value != '\0'; value++) {
        bool unreserved = (*value >= 'a' && *value <= 'z') || (*value >= 'A' && *value <= 'Z') ||
                          (*value >= '0' && *value <= '9') || strchr("-._~", *value) != NULL;
        if (unreserved)
            buffer_add_char(text, *value);
        else
            buffer_printf(text, "%%%02X", (unsigned)(unsigned char)*value);
    }
}

const char *paging_link(const struct request *request, const char *cursor)
{
    struct buffer text;
    buffer_init(&text, LINK_MAX);
    buffer_printf(&text, "%s?", request->path);
    for (size_t i = 0; i < request->query_count; i++) {
        if (strcmp(request->query[i].name, "cursor") == 0)
            continue;
        add_encoded(&text, request->query[i].name);
        buffer_add_char(&text, '=');
        add_encoded(&text, request->query[i].value);
        buffer_add_char(&text, '&');
    }
    buffer_printf(&text, "cursor=%s", cursor);
    const char *link = text.failed ? NULL : arena_copy(request->arena, text.data, text.length);
    buffer_dispose(&text);
    return link;
}

static bool is_cursor(const char *text)
{
    size_t length = strlen(text);
    return length > 0 && length < PAGE_KEY_SIZE &&
           strspn(text, "abcdefghijklmnopqrstuvwxyz0123456789-/") == length;
}

bool paging_begin(const struct request *request, struct answer *answer, struct paging *paging)
{
    *paging = (struct paging){.request = request, .after = request_query(request, "cursor")};
    bool valid = request_limit(request, answer, &paging->limit);
    if (paging->after != NULL && !is_cursor(paging->after)) {
        faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "cursor",
                             "must be next of the page before");
        valid = false;
    }
    buffer_add_text(&answer->body, "{\"items\":[");
    return valid;
}

void paging_end(const struct paging *paging, const struct json_page *page, struct answer *answer)
{
    buffer_add_char(&answer->body, ']');
    if (page->more) {
        buffer_printf(&answer->body, ",\"next\":\"%s\"", page->last);
        answer->link_next = paging_link(paging->request, page->last);
    }
    buffer_add_char(&answer->body, '}');
}
