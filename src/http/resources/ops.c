/* SPDX-License-Identifier: ISC */
/* Operations: whether the process is alive, whether a till could post, the OpenAPI document, and the style
 * sheet. */
#include "http/resources/handlers.h"

#include "answers.h"
#include "depositd/seal.h"
#include "http/request/conditional.h"

#include <stdio.h>
#include <string.h>

/* The ETag is a hash of the style sheet, which changes only with the binary. */
static const char *style_etag(struct arena *arena)
{
    struct sha256 hash;
    char hex[SHA256_HEX_MAX], tag[SHA256_HEX_MAX + 2];
    sha256_of(style_css, strlen(style_css), &hash);
    sha256_hex(&hash, hex);
    int length = snprintf(tag, sizeof tag, "\"%s\"", hex);
    return arena_copy(arena, tag, (size_t)length);
}

void handle_style(const struct request *request, struct answer *answer)
{
    answer->etag = style_etag(request->arena);
    if (answer->etag != NULL && request->if_none_match != NULL &&
        etag_is_listed(request->if_none_match, answer->etag))
        answer->status = 304;
    else
        buffer_add_text(&answer->body, style_css);
}

void handle_healthz(const struct request *request, struct answer *answer)
{
    (void)request;
    buffer_add_text(&answer->body, "{\"status\":\"alive\"}");
}

void handle_readyz(const struct request *request, struct answer *answer)
{
    const char *fault = probe_ask(request->service->probe);
    if (fault == NULL)
        buffer_add_text(&answer->body, "{\"status\":\"ready\"}");
    else
        faults_add(&answer->faults, REASON_OVERLOADED, NULL, "%s", fault);
}

void handle_openapi(const struct request *request, struct answer *answer)
{
    answer->is_coded = request->codings.gzip;
    buffer_add(&answer->body, request->openapi->data, request->openapi->length);
}
