/* SPDX-License-Identifier: ISC */
/* Operations: the index, whether the process is alive, whether it can commit, and the OpenAPI document. */
#include "http/handlers.h"
#include "http/json_text.h"
#include "http/router.h"
#include "store/ready_store.h"

/* A line per route: to be read by people as well. */
void handle_index(const struct request *request, struct answer *answer)
{
    size_t count;
    const struct route *routes = routes_all(&count);
    struct buffer *body = &answer->body;
    (void)request;
    buffer_add_char(body, '{');
    member_string(body, "service", "depositd");
    member_string(body, "openapi", "/openapi.json");
    member_begin(body, "routes");
    buffer_add_char(body, '[');
    for (size_t i = 0; i < count; i++) {
        element_begin(body);
        buffer_add_text(body, "\n{");
        member_string(body, "method", method_word(routes[i].method));
        member_string(body, "path", routes[i].path);
        member_string(body, "summary", routes[i].summary);
        buffer_add_char(body, '}');
    }
    buffer_add_text(body, "\n]}\n");
}

void handle_healthz(const struct request *request, struct answer *answer)
{
    (void)request;
    buffer_add_text(&answer->body, "{\"status\":\"alive\"}");
}

void handle_readyz(const struct request *request, struct answer *answer)
{
    if (store_try_commit(request->pg) == STORE_OK)
        buffer_add_text(&answer->body, "{\"status\":\"ready\"}");
    else
        faults_add(&answer->faults, REASON_OVERLOADED, NULL, "The database does not commit");
}

void handle_openapi(const struct request *request, struct answer *answer)
{
    buffer_add(&answer->body, request->openapi->data, request->openapi->length);
}
