/* SPDX-License-Identifier: ISC */
/* Writes the OpenAPI document, with its operations from the table of routes. */
#include "http/contract/openapi.h"

#include "http/contract/openapi_components.h"
#include "http/contract/openapi_examples.h"
#include "http/contract/openapi_parameters.h"
#include "http/contract/openapi_reference.h"
#include "http/contract/openapi_responses.h"
#include "http/contract/route_reasons.h"
#include "http/request/json_text.h"
#include "http/request/router.h"
#include "version.h"

#include <string.h>

enum { DOCUMENT_MAX = 4 << 20, DESCRIPTION_MAX = 4096 };

static const char description[] =
    "Deposits, refunds and transfers of reusable cups, settled nightly.\n\nAmounts are decimal strings with "
    "exactly the currency's decimals, counts are integers, times are RFC 3339 with an offset, business dates "
    "are YYYY-MM-DD. Unknown members and parameters are refused by name. Posting an event again is always "
    "safe. Every answer carries X-Request-Id: the client's, or a new one.\n\nThis document lists the media "
    "types for machines. A key may read all that it reads as JSON also as a page: the same address answers "
    "with HTML if Accept prefers text/html, or with ?format=html. Problems are pages there as well.\n\nA GET "
    "is also answered to HEAD, without the body. Answers to reads of 4 KiB and more come as gzip for clients "
    "that accept it. A problem (RFC 9457) has a stable `reason`: decide by it, "
    "never by a title or a detail. Its `type` leads to what the reason means. Send a request with "
    "`retryable` again, after Retry-After where there is "
    "one; send any other only after a change.\n\nThe following may be added under /v1 at any time: paths, "
    "operations, optional parameters, optional members of bodies, members of answers, headers, reasons, and "
    "words of enumerations in answers. A client ignores members, headers and words that it does not know. "
    "Anything else changes under /v2 only. An operation that will go says so in its answers: by Deprecation "
    "(RFC 9745), and by Sunset (RFC 8594), at least twelve months ahead.";

static bool is_post_of_events(const struct route *route)
{
    return route->run == NULL && route->csv_body == NULL;
}

static void begin_body(struct buffer *document, const char *type)
{
    element_begin(document);
    buffer_printf(document, "\"%s\":{\"schema\":", type);
}

static void end_body(struct buffer *document, const json_t *examples, const struct route *route,
                     const char *type)
{
    examples_of_body(document, examples, route, type);
    buffer_add_char(document, '}');
}

static void add_xml_body(struct buffer *document, const json_t *examples, const struct route *route)
{
    static const char *const types[] = {"application/xml", "text/xml"}; /* RFC 7303 section 9 */
    for (size_t i = 0; i < sizeof types / sizeof types[0]; i++) {
        begin_body(document, types[i]);
        buffer_add_text(document, "{\"type\":\"string\"");
        member_string(document, "description", route->xml_body);
        buffer_add_char(document, '}');
        end_body(document, examples, route, types[i]);
    }
}

static void add_events_body(struct buffer *document, const json_t *examples, const struct route *route)
{
    begin_body(document, "application/json");
    buffer_add_text(document, "{\"oneOf\":[{\"$ref\":\"#/components/schemas/Event\"},"
                              "{\"$ref\":\"#/components/schemas/Events\"}]}");
    end_body(document, examples, route, "application/json");
    begin_body(document, "application/x-ndjson");
    buffer_add_text(document,
                    "{\"type\":\"string\",\"contentMediaType\":\"application/x-ndjson\",\"contentSchema\":"
                    "{\"$ref\":\"#/components/schemas/Event\"},\"description\":"
                    "\"An Event a line, any number of them\"}");
    end_body(document, examples, route, "application/x-ndjson");
}

static void add_json_body(struct buffer *document, const json_t *examples, const struct route *route)
{
    begin_body(document, "application/json");
    openapi_reference(document, route->body->name);
    end_body(document, examples, route, "application/json");
    if (!route->takes_lines)
        return;
    begin_body(document, "application/x-ndjson");
    openapi_lines(document, route->body->name, "Any number of lines, each a document; all are taken as one");
    end_body(document, examples, route, "application/x-ndjson");
}

static void add_column(void *text, const struct csv_column *column)
{
    const struct field *field = column->part != NULL ? column->part : column->field;
    bool required = column->part == NULL && field->required;
    buffer_printf(text, "\n- `%s`%s: %s", column->name, required ? ", required" : "", field->description);
}

static void describe_csv(const struct csv_form *form, struct buffer *text)
{
    buffer_printf(
        text,
        "CSV (RFC 4180) in UTF-8, with or without a byte order mark. Lines end with CRLF or LF. Commas "
        "separate cells, or semicolons if the first line has these and no comma. The first line "
        "names the columns, in any order; each of up to %d other lines is one %s, with numbers and "
        "dates as in JSON. Columns:\n",
        CSV_ROWS_MAX, form->row->name);
    csv_columns_list(form->row, add_column, text);
}

static void add_csv_body(struct buffer *document, const json_t *examples, const struct route *route)
{
    struct buffer text;
    buffer_init(&text, DESCRIPTION_MAX);
    describe_csv(route->csv_body, &text);
    begin_body(document, "text/csv");
    buffer_add_text(document, "{\"type\":\"string\"");
    if (text.failed)
        document->failed = true;
    else
        member_string(document, "description", text.data);
    buffer_dispose(&text);
    buffer_add_char(document, '}');
    end_body(document, examples, route, "text/csv");
}

static void add_body(struct buffer *document, const json_t *examples, const struct route *route)
{
    if (!route_has_body(route))
        return;
    member_begin(document, "requestBody");
    buffer_printf(document, "{\"required\":%s,\"content\":{", route->body_optional ? "false" : "true");
    if (route->xml_body != NULL)
        add_xml_body(document, examples, route);
    else if (route->csv_body != NULL)
        add_csv_body(document, examples, route);
    else if (is_post_of_events(route))
        add_events_body(document, examples, route);
    else
        add_json_body(document, examples, route);
    buffer_add_text(document, "}}");
}

static void add_description(struct buffer *document, const struct route *route)
{
    const char *word = "Roles: ";
    struct buffer text;
    buffer_init(&text, DESCRIPTION_MAX);
    if (route->about != NULL)
        buffer_printf(&text, "%s\n\n", route->about);
    if (route->roles == 0)
        buffer_add_text(&text, "Needs no key.");
    for (unsigned role = 0; role < ROLE_COUNT; role++)
        if ((route->roles & 1u << role) != 0) {
            buffer_printf(&text, "%s%s", word, role_word((enum role)role));
            word = ", ";
        }
    if (text.failed)
        document->failed = true;
    else
        member_string(document, "description", text.data);
    buffer_dispose(&text);
    if (route->roles == 0)
        buffer_add_text(document, ",\"security\":[]");
}

static const struct {
    const char *word, *description;
} tags[] = {
#define X(NAME, word, description) [TAG_##NAME] = {word, description},
    TAG_TABLE(X)
#undef X
};

/* An incomplete row leaves a gap in the document, by which a test finds the row. */
static void add_name(struct buffer *document, const struct route *route)
{
    if (route->id != NULL)
        member_string(document, "operationId", route->id);
    if (route->tag != TAG_NONE)
        buffer_printf(document, ",\"tags\":[\"%s\"]", tags[route->tag].word);
}

static void add_operation(struct buffer *document, const json_t *examples, const struct route *route)
{
    char method[8];
    size_t length = strlen(method_word(route->method));
    for (size_t i = 0; i < length; i++)
        method[i] = (char)(method_word(route->method)[i] | 0x20);
    method[length] = '\0';
    member_begin(document, method);
    buffer_add_char(document, '{');
    member_string(document, "summary", route->summary);
    add_name(document, route);
    add_description(document, route);
    openapi_parameters(document, examples, route);
    add_body(document, examples, route);
    openapi_responses(document, examples, route);
    buffer_add_char(document, '}');
}

static bool is_first_of_path(const struct route *routes, size_t i)
{
    for (size_t before = 0; before < i; before++)
        if (strcmp(routes[before].path, routes[i].path) == 0)
            return false;
    return true;
}

static void add_paths(struct buffer *document, const json_t *examples)
{
    size_t count;
    const struct route *routes = routes_documented(&count);
    member_begin(document, "paths");
    buffer_add_char(document, '{');
    for (size_t i = 0; i < count; i++) {
        if (!is_first_of_path(routes, i))
            continue;
        member_begin(document, routes[i].path);
        buffer_add_char(document, '{');
        for (size_t same = i; same < count; same++)
            if (strcmp(routes[same].path, routes[i].path) == 0)
                add_operation(document, examples, &routes[same]);
        buffer_add_char(document, '}');
    }
    buffer_add_char(document, '}');
}

static void add_info(struct buffer *document)
{
    member_begin(document, "info");
    buffer_add_char(document, '{');
    member_string(document, "title", "depositd");
    member_string(document, "version", DEPOSITD_VERSION);
    member_string(document, "description", description);
    buffer_add_text(document, ",\"contact\":{\"name\":\"The operator of this service\"},"
                              "\"license\":{\"name\":\"ISC\",\"identifier\":\"ISC\"}}");
}

static void add_tags(struct buffer *document)
{
    member_begin(document, "tags");
    buffer_add_char(document, '[');
    for (size_t tag = TAG_NONE + 1; tag < sizeof tags / sizeof tags[0]; tag++) {
        element_begin(document);
        buffer_add_char(document, '{');
        member_string(document, "name", tags[tag].word);
        member_string(document, "description", tags[tag].description);
        buffer_add_char(document, '}');
    }
    buffer_add_char(document, ']');
}

void openapi_write(struct buffer *document)
{
    json_t *examples = examples_read();
    buffer_init(document, DOCUMENT_MAX);
    buffer_add_text(document, "{\"openapi\":\"3.1.0\"");
    add_info(document);
    buffer_add_text(document,
                    ",\"servers\":[{\"url\":\"/\",\"description\":\"The service that answers with this "
                    "document\"}],\"security\":[{\"bearer\":[]},{\"basic\":[]}]");
    add_tags(document);
    add_paths(document, examples);
    openapi_components(document, examples);
    buffer_add_text(document, "}\n");
    document->failed = document->failed || examples == NULL;
    json_decref(examples);
}
