/* SPDX-License-Identifier: ISC */
/* The OpenAPI document, and its paths from the table of routes. */
#include "http/openapi.h"

#include "http/json_text.h"
#include "http/media.h"
#include "http/openapi_components.h"
#include "http/problem.h"
#include "http/router.h"

#include <assert.h>
#include <string.h>

enum { DOCUMENT_MAX = 4 << 20 };

static const char description[] =
    "Deposits, refunds and transfers of reusable cups, settled nightly. Amounts are decimal strings with "
    "exactly "
    "the currency's decimals, counts are integers, times are RFC 3339 with an offset, business dates are "
    "YYYY-MM-DD. Unknown members and parameters are refused by name. Posting an event again is always safe. "
    "Every answer carries X-Request-Id: the client's, or a new one.";

static bool is_date(const char *name)
{
    static const char *const dates[] = {"date", "effective_date", "business_date", "as_of", "from", "to"};
    for (size_t i = 0; i < sizeof dates / sizeof dates[0]; i++)
        if (strcmp(name, dates[i]) == 0)
            return true;
    return false;
}

/* Names mean the same wherever they stand. */
static const char *parameter_schema(const char *name)
{
    static const char *const texts[] = {"cursor",   "reference",     "why", "by",
                                        "If-Match", "If-None-Match", "line"};
    if (is_date(name))
        return "{\"type\":\"string\",\"format\":\"date\"}";
    if (strcmp(name, "event_id") == 0 || strcmp(name, "file_id") == 0)
        return "{\"type\":\"string\",\"format\":\"uuid\"}";
    if (strcmp(name, "limit") == 0)
        return "{\"type\":\"integer\",\"minimum\":1,\"maximum\":1000,\"default\":100}";
    if (strcmp(name, "dry_run") == 0)
        return "{\"type\":\"boolean\",\"default\":false}";
    if (strcmp(name, "held") == 0 || strcmp(name, "open") == 0)
        return "{\"type\":\"boolean\"}";
    if (strcmp(name, "of") == 0)
        return "{\"$ref\":\"#/components/schemas/ChangeOf\"}";
    if (strcmp(name, "kind") == 0)
        return "{\"$ref\":\"#/components/schemas/EntryKind\"}";
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        if (strcmp(name, texts[i]) == 0)
            return "{\"type\":\"string\"}";
    return "{\"$ref\":\"#/components/schemas/Code\"}";
}

static void begin_parameter(struct buffer *document, const char *in, const char *name, bool required)
{
    element_begin(document);
    buffer_printf(document, "{\"in\":\"%s\",\"name\":\"%s\",\"required\":%s", in, name,
                  required ? "true" : "false");
}

static void add_parameter(struct buffer *document, const char *in, const char *name, bool required,
                          const char *meaning)
{
    begin_parameter(document, in, name, required);
    if (meaning != NULL)
        member_string(document, "description", meaning);
    buffer_printf(document, ",\"schema\":%s}", parameter_schema(name));
}

static void add_path_parameters(struct buffer *document, const char *path)
{
    char name[CODE_SIZE];
    while ((path = strchr(path, '{')) != NULL) {
        size_t length = strcspn(++path, "}");
        assert(length < sizeof name);
        memcpy(name, path, length);
        name[length] = '\0';
        add_parameter(document, "path", name, true, NULL);
    }
}

static void add_format(struct buffer *document, unsigned offered)
{
    begin_parameter(document, "query", "format", false);
    member_string(document, "description", "Wins over the header Accept");
    buffer_add_text(document, ",\"schema\":{\"type\":\"string\",\"enum\":[");
    for (unsigned media = 0; media < MEDIA_COUNT; media++)
        if ((offered & 1u << media) != 0) {
            element_begin(document);
            string_add(document, media_word((enum media)media));
        }
    buffer_add_text(document, "]}}");
}

static void add_parameters(struct buffer *document, const struct route *route)
{
    member_begin(document, "parameters");
    buffer_add_char(document, '[');
    add_path_parameters(document, route->path);
    for (size_t i = 0; i < ROUTE_PARAMETERS_MAX && route->parameters[i].name != NULL; i++)
        add_parameter(document, "query", route->parameters[i].name, route->parameters[i].required,
                      route->parameters[i].description);
    if (route_has_choice(route))
        add_format(document, route_media(route));
    if (route->dry_run)
        add_parameter(document, "query", "dry_run", false, "Say what would happen, and record nothing");
    if (route->answer_statuses[1] == 304)
        add_parameter(document, "header", "If-None-Match", false,
                      "Only if the resource no longer has this ETag");
    if (route->method == METHOD_PUT)
        add_parameter(document, "header", "If-Match", false, "Only if the resource still has this ETag");
    buffer_add_char(document, ']');
}

static bool is_post_of_events(const struct route *route)
{
    return route->run == NULL;
}

static void add_xml_body(struct buffer *document, const struct route *route)
{
    member_begin(document, "requestBody");
    buffer_add_text(document, "{\"required\":true,\"content\":{");
    for (int text = 0; text <= 1; text++) {
        buffer_printf(document, "%s\"%s/xml\":{\"schema\":{\"type\":\"string\"", text ? "," : "",
                      text ? "text" : "application");
        member_string(document, "description", route->xml_body);
        buffer_add_text(document, "}}");
    }
    buffer_add_text(document, "}}");
}

static void add_body(struct buffer *document, const struct route *route)
{
    if (route->xml_body != NULL)
        add_xml_body(document, route);
    if (route->body == NULL && !is_post_of_events(route))
        return;
    member_begin(document, "requestBody");
    buffer_printf(document, "{\"required\":%s,\"content\":{\"application/json\":{\"schema\":",
                  route->body_optional ? "false" : "true");
    if (is_post_of_events(route))
        buffer_add_text(
            document,
            "{\"oneOf\":[{\"$ref\":\"#/components/schemas/Event\"},{\"type\":\"array\",\"minItems\":1,"
            "\"maxItems\":1000,\"items\":{\"$ref\":\"#/components/schemas/Event\"}}]}},"
            "\"application/x-ndjson\":{\"schema\":{\"type\":\"string\",\"description\":"
            "\"An Event a line, any number of them\"}");
    else
        openapi_reference(document, route->body->name);
    buffer_add_text(document, "}}}");
}

/* Without the parameters that a header has and the document's keys have not. */
static void add_media_member(struct buffer *document, enum media media)
{
    const char *type = media_type(media);
    element_begin(document);
    buffer_add_json_string(document, type, strcspn(type, ";"));
    buffer_add_char(document, ':');
}

static void add_content(struct buffer *document, const struct route *route)
{
    unsigned offered = route_media(route);
    member_begin(document, "content");
    buffer_add_char(document, '{');
    for (unsigned media = 0; media < MEDIA_COUNT; media++) {
        if ((offered & 1u << media) == 0)
            continue;
        add_media_member(document, (enum media)media);
        buffer_add_text(document, "{\"schema\":");
        if (media == MEDIA_JSON)
            openapi_reference(document, route->answer_schema);
        else
            buffer_add_text(document, "{\"type\":\"string\"}");
        buffer_add_char(document, '}');
    }
    if (is_post_of_events(route)) {
        add_media_member(document, MEDIA_NDJSON);
        buffer_add_text(
            document,
            "{\"schema\":{\"type\":\"string\",\"description\":\"To NDJSON: a line for each event, as "
            "in results, and a last one that counts them; where that is missing, post the rest "
            "again\"}}");
    }
    buffer_add_char(document, '}');
}

static const char *success(int status)
{
    switch (status) {
    case 201:
        return "Made";
    case 202:
        return "Proposed: a second key must approve it";
    case 204:
        return "Done; there is nothing to say";
    case 304:
        return "As the ETag in If-None-Match says";
    default:
        return "As asked";
    }
}

static bool names_something(const struct route *route)
{
    bool named = strchr(route->path, '{') != NULL;
    for (size_t i = 0; i < ROUTE_PARAMETERS_MAX && route->parameters[i].name != NULL; i++)
        named = named || strcmp(route->parameters[i].name, "scheme") == 0;
    return named;
}

/* Whether a request to the route can end in a problem of this status. */
static bool can_fail(const struct route *route, int status)
{
    bool writes = route->method != METHOD_GET;
    bool has_body = route->body != NULL || route->xml_body != NULL || is_post_of_events(route);
    switch (status) {
    case 400:
    case 415:
        return has_body;
    case 401:
    case 403:
    case 429:
        return route->roles != 0;
    case 404:
        return names_something(route);
    case 409:
        return writes || route->not_yet;
    case 412:
        return route->method == METHOD_PUT;
    case 405: /* of a method that is not in the document */
        return false;
    default:
        return true;
    }
}

static void add_responses(struct buffer *document, const struct route *route)
{
    member_begin(document, "responses");
    buffer_add_char(document, '{');
    for (size_t i = 0; i < 3 && route->answer_statuses[i] != 0; i++) {
        int status = route->answer_statuses[i];
        element_begin(document);
        buffer_printf(document, "\"%d\":{", status);
        member_string(document, "description", success(status));
        if (route->answer_schema != NULL && status != 304)
            add_content(document, route);
        buffer_add_char(document, '}');
    }
    for (int status = 400; status < 600; status++)
        if (problem_has_status(status) && can_fail(route, status))
            buffer_printf(document, ",\"%d\":{\"$ref\":\"#/components/responses/Problem%d\"}", status,
                          status);
    buffer_add_char(document, '}');
}

static void add_roles(struct buffer *document, unsigned roles)
{
    const char *word = "Roles: ";
    buffer_add_text(document, ",\"description\":\"");
    if (roles == 0)
        buffer_add_text(document, "Public");
    for (unsigned role = 0; role < ROLE_COUNT; role++)
        if ((roles & 1u << role) != 0) {
            buffer_printf(document, "%s%s", word, role_word((enum role)role));
            word = ", ";
        }
    buffer_add_text(document, roles == 0 ? "\",\"security\":[]" : "\"");
}

static void add_operation(struct buffer *document, const struct route *route)
{
    char method[8];
    size_t length = strlen(method_word(route->method));
    for (size_t i = 0; i <= length; i++)
        method[i] = (char)(method_word(route->method)[i] | 0x20);
    method[length] = '\0';
    member_begin(document, method);
    buffer_add_char(document, '{');
    member_string(document, "summary", route->summary);
    add_roles(document, route->roles);
    add_parameters(document, route);
    add_body(document, route);
    add_responses(document, route);
    buffer_add_char(document, '}');
}

static bool is_first_of_path(const struct route *routes, size_t i)
{
    for (size_t before = 0; before < i; before++)
        if (strcmp(routes[before].path, routes[i].path) == 0)
            return false;
    return true;
}

static void add_paths(struct buffer *document)
{
    size_t count;
    const struct route *routes = routes_all(&count);
    member_begin(document, "paths");
    buffer_add_char(document, '{');
    for (size_t i = 0; i < count; i++) {
        if (!is_first_of_path(routes, i))
            continue;
        member_begin(document, routes[i].path);
        buffer_add_char(document, '{');
        for (size_t same = i; same < count; same++)
            if (strcmp(routes[same].path, routes[i].path) == 0)
                add_operation(document, &routes[same]);
        buffer_add_char(document, '}');
    }
    buffer_add_char(document, '}');
}

void openapi_write(struct buffer *document)
{
    buffer_init(document, DOCUMENT_MAX);
    buffer_add_text(document,
                    "{\"openapi\":\"3.1.0\",\"info\":{\"title\":\"depositd\",\"version\":\"1\",\"license\":"
                    "{\"name\":\"ISC\",\"identifier\":\"ISC\"},\"description\":");
    string_add(document, description);
    buffer_add_text(document, "},\"security\":[{\"bearer\":[]},{\"basic\":[]}]");
    add_paths(document);
    openapi_components(document);
    buffer_add_text(document, "}\n");
}
