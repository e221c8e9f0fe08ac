/* SPDX-License-Identifier: ISC */
/* Routes that can give the same reasons for a status share a response. The name of the response is the
 * status, followed by the first of these routes, unless that route is the first that has the status:
 * Problem404, Problem409_closeDay. */
#include "http/contract/openapi_responses.h"

#include "http/contract/openapi_examples.h"
#include "http/contract/openapi_reference.h"
#include "http/contract/route_reasons.h"
#include "http/request/json_text.h"
#include "http/request/media.h"

#include <string.h>

/* Headers ------------------------------------------------------------------------------------------------ */

struct header {
    const char *component, *name, *description, *schema;
    bool required;
};

enum header_name {
    HEADER_REQUEST_ID,
    HEADER_LINK,
    HEADER_ETAG,
    HEADER_ETAG_OF_SHORT,
    HEADER_LOCATION,
    HEADER_CONTENT_DISPOSITION,
    HEADER_RETRY_AFTER,
    HEADER_ALLOW,
    HEADER_WWW_AUTHENTICATE,
    HEADER_COUNT
};

#define TEXT "{\"type\":\"string\"}"

static const struct header headers[HEADER_COUNT] = {
    [HEADER_REQUEST_ID] = {"XRequestId", "X-Request-Id", "The request's X-Request-Id, or a new one", TEXT,
                           true},
    [HEADER_LINK] =
        {"Link", "Link",
         "Where the next page is, as rel=\\\"next\\\", and the one before, as rel=\\\"prev\\\" (RFC 8288)",
         TEXT, false},
    [HEADER_ETAG] = {"ETag", "ETag",
                     "A strong validator (RFC 9110 section 8.8.3), for If-Match and If-None-Match", TEXT,
                     true},
    [HEADER_ETAG_OF_SHORT] =
        {"ETagOfShort", "ETag",
         "A strong validator (RFC 9110 section 8.8.3), for If-None-Match; absent where the "
         "answer is long and sent while it is made",
         TEXT, false},
    [HEADER_LOCATION] = {"Location", "Location", "Path of the new resource",
                         "{\"type\":\"string\",\"format\":\"uri-reference\"}", false},
    [HEADER_CONTENT_DISPOSITION] = {"ContentDisposition", "Content-Disposition",
                                    "That a browser keeps it as a file, and under which name (RFC 6266)",
                                    TEXT, false},
    [HEADER_RETRY_AFTER] = {"RetryAfter", "Retry-After", "Seconds to wait (RFC 9110 section 10.2.3)",
                            "{\"type\":\"integer\",\"minimum\":0}", true},
    [HEADER_ALLOW] = {"Allow", "Allow", "The methods that the path has (RFC 9110 section 10.2.1)", TEXT,
                      true},
    [HEADER_WWW_AUTHENTICATE] = {"WWWAuthenticate", "WWW-Authenticate",
                                 "How to authenticate (RFC 9110 section 11.6.1)", TEXT, true},
};

void openapi_headers(struct buffer *document)
{
    member_begin(document, "headers");
    buffer_add_char(document, '{');
    for (int i = 0; i < HEADER_COUNT; i++) {
        member_begin(document, headers[i].component);
        buffer_printf(document, "{\"description\":\"%s\",\"required\":%s,\"schema\":%s}",
                      headers[i].description, headers[i].required ? "true" : "false", headers[i].schema);
    }
    buffer_add_char(document, '}');
}

static void add_header(struct buffer *document, enum header_name name, bool present)
{
    if (!present)
        return;
    member_begin(document, headers[name].name);
    buffer_printf(document, "{\"$ref\":\"#/components/headers/%s\"}", headers[name].component);
}

static void begin_headers(struct buffer *document)
{
    member_begin(document, "headers");
    buffer_add_char(document, '{');
    add_header(document, HEADER_REQUEST_ID, true);
}

/* Problems ----------------------------------------------------------------------------------------------- */

static bool same_reasons(const struct route *a, const struct route *b, int status)
{
    for (int reason = REASON_NONE + 1; reason < REASON_COUNT; reason++)
        if (reason_info((enum reason)reason)->status == status &&
            route_can_give(a, (enum reason)reason) != route_can_give(b, (enum reason)reason))
            return false;
    return true;
}

/* Finds the first route with the same reasons for the status. */
static size_t sharer(const struct route *routes, size_t i, int status)
{
    size_t first = 0;
    while (!same_reasons(&routes[first], &routes[i], status))
        first++;
    return first;
}

static bool is_first_with_status(const struct route *routes, size_t i, int status)
{
    for (size_t before = 0; before < i; before++)
        if (route_can_fail(&routes[before], status))
            return false;
    return true;
}

static void add_problem_name(struct buffer *document, const struct route *routes, size_t i, int status)
{
    buffer_printf(document, "Problem%d", status);
    if (!is_first_with_status(routes, i, status))
        buffer_printf(document, "_%s", routes[i].id != NULL ? routes[i].id : "unnamed");
}

static void add_reasons(struct buffer *document, const struct route *route, int status, bool with_titles)
{
    const char *separator = "";
    for (int reason = REASON_NONE + 1; reason < REASON_COUNT; reason++) {
        const struct reason_info *info = reason_info((enum reason)reason);
        if (info->status != status || !route_can_give(route, (enum reason)reason))
            continue;
        if (with_titles)
            buffer_printf(document, "%s%s: %s", separator, info->code, info->title);
        else
            buffer_printf(document, "%s\"%s\"", separator, info->code);
        separator = with_titles ? "; " : ",";
    }
}

static void add_problem(struct buffer *document, const json_t *examples, const struct route *routes, size_t i,
                        int status)
{
    element_begin(document);
    buffer_add_char(document, '"');
    add_problem_name(document, routes, i, status);
    buffer_add_text(document, "\":{\"description\":\"");
    add_reasons(document, &routes[i], status, true);
    buffer_add_char(document, '"');
    begin_headers(document);
    add_header(document, HEADER_RETRY_AFTER, status == 429 || status == 503);
    add_header(document, HEADER_ALLOW, status == 405);
    add_header(document, HEADER_WWW_AUTHENTICATE, status == 401);
    buffer_printf(
        document,
        "},\"content\":{\"" MEDIA_PROBLEM "\":{\"schema\":{\"allOf\":[{\"$ref\":"
        "\"#/components/schemas/Problem\"},{\"type\":\"object\",\"properties\":{\"status\":{\"const\":"
        "%d},\"reason\":{\"type\":\"string\",\"enum\":[",
        status);
    add_reasons(document, &routes[i], status, false);
    buffer_add_text(document, "]}},\"required\":[\"status\",\"reason\"]}]}");
    examples_of_answer(document, examples, &routes[i], status, MEDIA_PROBLEM);
    buffer_add_text(document, "}}}");
}

void openapi_problem_responses(struct buffer *document, const json_t *examples)
{
    size_t count;
    const struct route *routes = routes_documented(&count);
    member_begin(document, "responses");
    buffer_add_char(document, '{');
    for (int status = 400; status < 600; status++)
        for (size_t i = 0; i < count; i++)
            if (route_can_fail(&routes[i], status) && sharer(routes, i, status) == i)
                add_problem(document, examples, routes, i, status);
    buffer_add_char(document, '}');
}

static void add_problem_references(struct buffer *document, const struct route *route)
{
    size_t count;
    const struct route *routes = routes_documented(&count);
    for (int status = 400; status < 600; status++) {
        if (!route_can_fail(route, status))
            continue;
        buffer_printf(document, ",\"%d\":{\"$ref\":\"#/components/responses/", status);
        add_problem_name(document, routes, sharer(routes, (size_t)(route - routes), status), status);
        buffer_add_text(document, "\"}");
    }
}

/* Successes ---------------------------------------------------------------------------------------------- */

static const char *success(int status)
{
    switch (status) {
    case 201:
        return "It was made";
    case 202:
        return "Proposed: a second person must approve it";
    case 204:
        return "Done; the answer has no body";
    case 304:
        return "Nothing changed since the ETag in If-None-Match";
    default:
        return "The answer";
    }
}

static bool is_post_of_events(const struct route *route)
{
    return route->run == NULL;
}

/* The schema of the answer to a single event depends on its status. */
static const char *schema_of(const struct route *route, int status)
{
    if (is_post_of_events(route) && status != 200)
        return status == 202 ? "EventProposed" : "EventOutcome";
    if (status == 202)
        return "Proposed";
    return route->answer_schema;
}

static void begin_media(struct buffer *document, const char *type)
{
    element_begin(document);
    buffer_printf(document, "\"%s\":{\"schema\":", type);
}

/* Leaves out the parameters, which the header has but the document's keys do not have. */
static void add_media(struct buffer *document, const json_t *examples, const struct route *route, int status,
                      enum media media)
{
    char type[64];
    size_t length = strcspn(media_type(media), ";");
    memcpy(type, media_type(media), length);
    type[length] = '\0';
    begin_media(document, type);
    bool is_schema = media == MEDIA_JSON || (route_media(route) & 1u << MEDIA_JSON) == 0;
    if (media == MEDIA_NDJSON)
        openapi_lines(document, route->line_schema, "Any number of lines, each a document of a single thing");
    else if (is_schema)
        openapi_reference(document, schema_of(route, status));
    else
        buffer_add_text(document, "{\"type\":\"string\"}");
    examples_of_answer(document, examples, route, status, type);
    buffer_add_char(document, '}');
}

static void add_stream(struct buffer *document, const json_t *examples, const struct route *route)
{
    begin_media(document, "application/x-ndjson");
    buffer_add_text(
        document,
        "{\"type\":\"string\",\"contentMediaType\":\"application/x-ndjson\",\"contentSchema\":{\"$ref\":\"#/"
        "components/schemas/StreamLine\"},\"description\":\"A"
        " line for each line of the request, as in results, and a last one that counts them. If the last one "
        "is missing, post again the lines that were not answered\"}");
    examples_of_answer(document, examples, route, 200, "application/x-ndjson");
    buffer_add_char(document, '}');
}

static void add_content(struct buffer *document, const json_t *examples, const struct route *route,
                        int status)
{
    unsigned offered = route_media(route);
    member_begin(document, "content");
    buffer_add_char(document, '{');
    for (unsigned media = 0; media < MEDIA_COUNT; media++)
        if ((offered & 1u << media) != 0 && media != MEDIA_HTML)
            add_media(document, examples, route, status, (enum media)media);
    if (is_post_of_events(route) && status == 200)
        add_stream(document, examples, route);
    buffer_add_char(document, '}');
}

/* Describes the route's own tag, which it always has, or the tag of any whole answer to a read. */
static void add_etag(struct buffer *document, const struct route *route, int status)
{
    bool own = (route->tagged || route->method == METHOD_PUT) && status != 202;
    if (own || route_has_status(route, 304))
        add_header(document, own || route->roles == 0 || status == 304 ? HEADER_ETAG : HEADER_ETAG_OF_SHORT,
                   true);
}

static void add_success(struct buffer *document, const json_t *examples, const struct route *route,
                        int status)
{
    element_begin(document);
    buffer_printf(document, "\"%d\":{", status);
    member_string(document, "description", success(status));
    begin_headers(document);
    add_header(document, HEADER_LINK, route_has_slices(route) && status == 200);
    add_etag(document, route, status);
    add_header(document, HEADER_LOCATION, route->located && status == 201);
    add_header(document, HEADER_CONTENT_DISPOSITION,
               (route_media(route) & (1u << MEDIA_CSV | 1u << MEDIA_XML)) != 0 && status == 200);
    buffer_add_char(document, '}');
    if (route->answer_schema != NULL && status != 304)
        add_content(document, examples, route, status);
    buffer_add_char(document, '}');
}

void openapi_responses(struct buffer *document, const json_t *examples, const struct route *route)
{
    member_begin(document, "responses");
    buffer_add_char(document, '{');
    for (size_t i = 0; i < 3 && route->answer_statuses[i] != 0; i++)
        add_success(document, examples, route, route->answer_statuses[i]);
    if (route->may_propose)
        add_success(document, examples, route, 202);
    add_problem_references(document, route);
    buffer_add_char(document, '}');
}
