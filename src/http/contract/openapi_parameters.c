/* SPDX-License-Identifier: ISC */
/* A parameter's name means the same on every route, so its schema follows from its name, unless the route's
 * row says otherwise. */
#include "http/contract/openapi_parameters.h"

#include "http/contract/openapi_examples.h"
#include "http/contract/openapi_reference.h"
#include "http/request/json_text.h"
#include "http/request/media.h"
#include "report/report.h"

#include <assert.h>
#include <string.h>

enum { EXAMPLE_SIZE = 256 };

struct adding {
    struct buffer *document;
    const json_t *examples;
    const struct route *route;
};

struct named_schema {
    const char *name;
    const char *schema;
};

#define DATE_SCHEMA     "{\"type\":\"string\",\"format\":\"date\"}"
#define UUID_SCHEMA     "{\"type\":\"string\",\"format\":\"uuid\"}"
#define TEXT_SCHEMA     "{\"type\":\"string\",\"minLength\":1}"
#define CURRENCY_SCHEMA "{\"type\":\"string\",\"pattern\":\"^[A-Z]{3}$\"}"
#define FLAG_SCHEMA     "{\"type\":\"boolean\"}"

/* All others are codes. */
static const struct named_schema schemas[] = {
    {"date", DATE_SCHEMA},
    {"effective_date", DATE_SCHEMA},
    {"business_date", DATE_SCHEMA},
    {"month", "{\"type\":\"string\",\"pattern\":\"^[0-9]{4}-[0-9]{2}$\"}"},
    {"as_of", DATE_SCHEMA},
    {"from", DATE_SCHEMA},
    {"to", DATE_SCHEMA},
    {"uncounted_since", DATE_SCHEMA},
    {"event_id", UUID_SCHEMA},
    {"file_id", UUID_SCHEMA},
    {"shipment", UUID_SCHEMA},
    {"entry", "{\"type\":\"integer\",\"minimum\":1}"},
    {"after", "{\"type\":\"integer\",\"minimum\":0}"},
    {"number", "{\"type\":\"integer\",\"minimum\":1}"},
    {"proposal", "{\"type\":\"integer\",\"minimum\":1}"},
    {"session", "{\"type\":\"integer\",\"minimum\":1}"},
    {"limit", "{\"type\":\"integer\",\"minimum\":1,\"maximum\":1000,\"default\":100}"},
    {"dry_run", "{\"type\":\"boolean\",\"default\":false}"},
    {"held", FLAG_SCHEMA},
    {"open", FLAG_SCHEMA},
    {"late", FLAG_SCHEMA},
    {"mine", FLAG_SCHEMA},
    {"waiting", FLAG_SCHEMA},
    {"to_pools", FLAG_SCHEMA},
    {"overdue", FLAG_SCHEMA},
    {"waits_for", "{\"type\":\"string\",\"enum\":[\"sender\",\"receiver\",\"accountant\"]}"},
    {"task", "{\"$ref\":\"#/components/schemas/TaskName\"}"},
    {"reason", "{\"$ref\":\"#/components/schemas/Reason\"}"},
    {"kind", "{\"$ref\":\"#/components/schemas/EntryKind\"}"},
    {"account", "{\"$ref\":\"#/components/schemas/Account\"}"},
    {"of", "{\"$ref\":\"#/components/schemas/ChangeOf\"}"},
    {"why", "{\"type\":\"string\",\"minLength\":1,\"maxLength\":200}"},
    {"by", TEXT_SCHEMA},
    {"cursor", TEXT_SCHEMA},
    {"schemes", TEXT_SCHEMA},
    {"wait", "{\"type\":\"integer\",\"minimum\":0,\"maximum\":60,\"default\":0}"},
    {"order", "{\"type\":\"string\",\"enum\":[\"newest\",\"oldest\"],\"default\":\"oldest\"}"},
    {"reference", TEXT_SCHEMA},
    {"If-Match", TEXT_SCHEMA},
    {"If-None-Match", TEXT_SCHEMA},
    {"line", TEXT_SCHEMA},
    {"cup_id", TEXT_SCHEMA},
    {"payment_id", TEXT_SCHEMA},
    {"bank_statement", TEXT_SCHEMA},
    {"exception_id", TEXT_SCHEMA},
    {"state", TEXT_SCHEMA},
    {"totals", TEXT_SCHEMA},
    {"account_kind", TEXT_SCHEMA},
    {"figure", TEXT_SCHEMA},
    {"part", TEXT_SCHEMA},
    {"fee", TEXT_SCHEMA},
    {"days", "{\"type\":\"integer\",\"minimum\":1,\"maximum\":7,\"default\":1}"},
    {"service_level", "{\"$ref\":\"#/components/schemas/Rate\"}"},
    {"cost_per_km", "{\"$ref\":\"#/components/schemas/Amount\"}"},
    {"cost_per_stop", "{\"$ref\":\"#/components/schemas/Amount\"}"},
    {"minimum_load", "{\"type\":\"integer\",\"minimum\":0}"},
    {"haul_boxes", "{\"type\":\"integer\",\"minimum\":1}"},
    {"currency", CURRENCY_SCHEMA},
    {"sum_in", CURRENCY_SCHEMA},
    {"rates", TEXT_SCHEMA},
    {"rate_day", DATE_SCHEMA},
    {"stock_days", "{\"type\":\"integer\",\"minimum\":1,\"maximum\":14,\"default\":1}"},
    {"wash_days", "{\"type\":\"integer\",\"minimum\":0,\"maximum\":30,\"default\":0}"},
    {"horizon_days", "{\"type\":\"integer\",\"minimum\":1,\"maximum\":731,\"default\":90}"},
    {"growth", "{\"$ref\":\"#/components/schemas/SignedDecimal\"}"},
    {"loss_rate", "{\"$ref\":\"#/components/schemas/Rate\"}"},
    {"cup_price", "{\"$ref\":\"#/components/schemas/Amount\"}"},
    {"trip_cost", "{\"$ref\":\"#/components/schemas/Amount\"}"},
    {"disposable_price", "{\"$ref\":\"#/components/schemas/Amount\"}"},
    {"disposable_mass_g", "{\"$ref\":\"#/components/schemas/SignedDecimal\"}"},
    {"box", "{\"type\":\"integer\",\"minimum\":1,\"default\":1}"},
};

static const char *schema_of(const char *name)
{
    for (size_t i = 0; i < sizeof schemas / sizeof schemas[0]; i++)
        if (strcmp(name, schemas[i].name) == 0)
            return schemas[i].schema;
    return "{\"$ref\":\"#/components/schemas/Code\"}";
}

/* Descriptions of the parts of paths, which have none in the table of routes. */
static const struct named_schema meanings[] = {
    {"scheme", "Code of the scheme"},
    {"home", "Code of the scheme whose deposit the cups carry"},
    {"host", "Code of the scheme that takes them back"},
    {"participant", "Code of the participant"},
    {"site", "Code of the site"},
    {"cup_type", "Code of the cup type"},
    {"name", "Name of the key"},
    {"date", "Business day"},
    {"month", "Month of the calendar, YYYY-MM"},
    {"effective_date", "Business day from which it holds"},
    {"event_id", "The event's id, as its client chose it"},
    {"entry", "Number of the entry in its scheme"},
    {"number", "Number of the fee note in its scheme"},
    {"proposal", "Number of the proposal"},
    {"session", "Number of the session"},
    {"task", "Name of the task, as GET / gives it"},
    {"batch", "Code of the batch"},
    {"shipment", "Id of the shipment, as its request gave it or was answered"},
    {"payment_id", "Id of the payment, as the settlement gives it"},
    {"file_id", "Id of the payment file"},
    {"line", "Name of the line, as the list of lines gives it"},
    {"bank_statement", "Name of the statement, as the list of statements gives it"},
    {"cup_id", "Identity of the cup: its GRAI with serial number, in any spelling"},
    {"reason", "Reason of a problem"},
    {"report", "Name of the report, as the list of reports gives it"},
    {"exception_id", "Id of the exception, as the report of exceptions gives it"},
};

static const char *meaning_of(const char *name)
{
    for (size_t i = 0; i < sizeof meanings / sizeof meanings[0]; i++)
        if (strcmp(name, meanings[i].name) == 0)
            return meanings[i].schema;
    return "Code of the thing that the path names";
}

/* Numbers and booleans in an example have no quotes. */
static void add_example(const struct adding *adding, const char *schema, const char *name, bool in_path)
{
    char text[EXAMPLE_SIZE];
    example_of_parameter(adding->examples, adding->route, name, in_path, text, sizeof text);
    if (text[0] == '\0')
        return;
    member_begin(adding->document, "example");
    if (strstr(schema, "\"integer\"") != NULL || strstr(schema, "\"boolean\"") != NULL)
        buffer_add_text(adding->document, text);
    else
        string_add(adding->document, text);
}

static void begin(struct buffer *document, const char *in, const char *name, bool required,
                  const char *description)
{
    element_begin(document);
    buffer_add_char(document, '{');
    member_string(document, "in", in);
    member_string(document, "name", name);
    if (required)
        member_boolean(document, "required", true);
    member_string(document, "description", description);
    member_begin(document, "schema");
}

static void add_reports(struct buffer *document)
{
    size_t count;
    const struct report *reports = reports_all(&count);
    buffer_add_text(document, "{\"type\":\"string\",\"enum\":[");
    for (size_t i = 0; i < count; i++) {
        element_begin(document);
        string_add(document, reports[i].name);
    }
    buffer_add_text(document, "]}");
}

static void add_path_parameter(const struct adding *adding, const char *name)
{
    begin(adding->document, "path", name, true, meaning_of(name));
    if (strcmp(name, "report") == 0)
        add_reports(adding->document);
    else
        buffer_add_text(adding->document, schema_of(name));
    add_example(adding, schema_of(name), name, true);
    buffer_add_char(adding->document, '}');
}

static void add_path_parameters(const struct adding *adding)
{
    const char *path = adding->route->path;
    char name[CODE_SIZE];
    while ((path = strchr(path, '{')) != NULL) {
        size_t length = strcspn(++path, "}");
        assert(length < sizeof name);
        memcpy(name, path, length);
        name[length] = '\0';
        add_path_parameter(adding, name);
    }
}

static void add(const struct adding *adding, const char *in, const struct parameter *parameter)
{
    begin(adding->document, in, parameter->name, parameter->required, parameter->description);
    if (parameter->schema != NULL)
        openapi_reference(adding->document, parameter->schema);
    else
        buffer_add_text(adding->document, schema_of(parameter->name));
    add_example(adding, schema_of(parameter->name), parameter->name, false);
    buffer_add_char(adding->document, '}');
}

static void add_format(const struct adding *adding)
{
    struct buffer *document = adding->document;
    unsigned offered = route_media(adding->route);
    begin(document, "query", "format", false, "Representation; it wins over the header Accept");
    buffer_add_text(document, "{\"type\":\"string\",\"enum\":[");
    for (unsigned media = 0; media < MEDIA_COUNT; media++)
        if ((offered & 1u << media) != 0) {
            element_begin(document);
            string_add(document, media_word((enum media)media));
        }
    buffer_add_text(document, "]}}");
}

void openapi_parameters(struct buffer *document, const json_t *examples, const struct route *route)
{
    static const struct parameter dry_run = {
        .name = "dry_run", .description = "Answer as if the write were done, and record nothing"};
    static const struct parameter if_none_match = {
        .name = "If-None-Match", .description = "Answer only if the resource no longer has this ETag"};
    static const struct parameter if_match = {
        .name = "If-Match", .description = "Change it only if the resource still has this ETag"};
    const struct adding adding = {document, examples, route};
    member_begin(document, "parameters");
    buffer_add_char(document, '[');
    add_path_parameters(&adding);
    for (size_t i = 0; i < ROUTE_PARAMETERS_MAX && route->parameters[i].name != NULL; i++)
        add(&adding, "query", &route->parameters[i]);
    if (route_has_choice(route))
        add_format(&adding);
    if (route->dry_run)
        add(&adding, "query", &dry_run);
    if (route_has_status(route, 304))
        add(&adding, "header", &if_none_match);
    if (route->method == METHOD_PUT)
        add(&adding, "header", &if_match);
    buffer_add_char(document, ']');
}
