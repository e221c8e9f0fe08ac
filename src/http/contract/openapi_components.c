/* SPDX-License-Identifier: ISC */
/* The components of the OpenAPI document, each made from the table that it describes: shapes of bodies,
 * reasons, exceptions, kinds and roles. Only the schemas of answers are written by hand, in answers.json. */
#include "http/contract/openapi_components.h"

#include "answers.h"
#include "depositd/access.h"
#include "depositd/exceptions.h"
#include "http/contract/openapi_reference.h"
#include "http/contract/openapi_responses.h"
#include "http/events/event_body.h"
#include "http/request/json_text.h"
#include "http/request/route.h"
#include "http/request/shape_schema.h"
#include "store/change_store.h"

#include <assert.h>
#include <string.h>

enum { SHAPES_MAX = 128, PLAIN_WORDS_MAX = 32 };

/* Components ----------------------------------------------------------------------------------------------
 */

struct word {
    const char *word, *meaning;
};

static const struct word reasons[] = {
#define X(name, code, status, retryable, title) {#code, title},
    REASON_TABLE(X)
#undef X
};
static const struct word exceptions[] = {
#define X(name, word, meaning) {#word, meaning},
    EXCEPTION_TABLE(X)
#undef X
};
static const struct word roles[] = {
#define X(name, word, reach, group, making, meaning) {#word, meaning},
    ROLE_TABLE(X)
#undef X
};
static const struct word kinds[] = {
#define X(name, word, ...) {#word, NULL},
    ENTRY_KIND_TABLE(X)
#undef X
};

#define COUNT(array) (sizeof(array) / sizeof(array)[0])

static void add_words(struct buffer *document, const char *name, const struct word *words, size_t count)
{
    member_begin(document, name);
    buffer_add_text(document, "{\"type\":\"string\",\"enum\":[");
    for (size_t i = 0; i < count; i++) {
        element_begin(document);
        string_add(document, words[i].word);
    }
    buffer_add_char(document, ']');
    if (words[0].meaning != NULL) {
        buffer_add_text(document, ",\"description\":\"");
        for (size_t i = 0; i < count; i++)
            buffer_printf(document, "%s%s: %s", i > 0 ? "; " : "", words[i].word, words[i].meaning);
        buffer_add_char(document, '"');
    }
    buffer_add_char(document, '}');
}

static void add_plain_words(struct buffer *document, const char *name, const char *const *texts)
{
    struct word words[PLAIN_WORDS_MAX] = {0};
    size_t count = 0;
    for (; texts[count] != NULL && count < PLAIN_WORDS_MAX; count++)
        words[count].word = texts[count];
    add_words(document, name, words, count);
}

static void add_tables(struct buffer *document)
{
    add_words(document, "Reason", reasons, COUNT(reasons));
    add_words(document, "ExceptionKind", exceptions, COUNT(exceptions));
    add_words(document, "EntryKind", kinds, COUNT(kinds));
    add_words(document, "Role", roles, COUNT(roles));
    add_plain_words(document, "ChangeOf", change_words);
}

struct shape_set {
    const struct shape *items[SHAPES_MAX];
    size_t count;
};

/* Collects the shape with all shapes within it. */
static void collect(struct shape_set *set, const struct shape *shape)
{
    for (size_t i = 0; i < set->count; i++)
        if (strcmp(set->items[i]->name, shape->name) == 0)
            return;
    assert(set->count < SHAPES_MAX);
    set->items[set->count++] = shape;
    for (size_t i = 0; i < shape->field_count; i++)
        if (shape->fields[i].shape != NULL)
            collect(set, shape->fields[i].shape);
}

static void add_shapes(struct buffer *document)
{
    struct shape_set set = {.count = 0};
    size_t count;
    const struct route *routes = routes_documented(&count);
    for (size_t i = 0; i < count; i++)
        if (routes[i].body != NULL)
            collect(&set, routes[i].body);
    for (int kind = 0; kind < KIND_LIMIT; kind++)
        if (event_body_shape((enum entry_kind)kind) != NULL)
            collect(&set, event_body_shape((enum entry_kind)kind));
    for (size_t i = 0; i < set.count; i++) {
        member_begin(document, set.items[i]->name);
        shape_schema(set.items[i], document);
    }
}

/* Writes the choice of the schemas of all kinds. A loss is recorded with its bearer, also if it was posted
 * without: so an event of an answer has another schema. */
static void add_choice(struct buffer *document, const char *name, const char *loss)
{
    member_begin(document, name);
    buffer_add_text(document, "{\"type\":\"object\",\"oneOf\":[");
    for (int kind = 0; kind < KIND_LIMIT; kind++)
        if (event_body_shape((enum entry_kind)kind) != NULL) {
            element_begin(document);
            openapi_reference(
                document, kind == KIND_TRANSIT_LOSS ? loss : event_body_shape((enum entry_kind)kind)->name);
        }
    buffer_add_text(document, "],\"discriminator\":{\"propertyName\":\"kind\",\"mapping\":{");
    for (int kind = 0; kind < KIND_LIMIT; kind++)
        if (event_body_shape((enum entry_kind)kind) != NULL) {
            member_begin(document, entry_kind_word((enum entry_kind)kind));
            buffer_printf(document, "\"#/components/schemas/%s\"",
                          kind == KIND_TRANSIT_LOSS ? loss : event_body_shape((enum entry_kind)kind)->name);
        }
    buffer_add_text(document, "}}}");
}

static void add_event(struct buffer *document)
{
    const char *loss = event_body_shape(KIND_TRANSIT_LOSS)->name, *recorded = "Event_transit_loss_recorded";
    add_choice(document, "Event", loss);
    add_choice(document, "EventAsRecorded", recorded);
    member_begin(document, recorded);
    buffer_add_text(document, "{\"allOf\":[");
    openapi_reference(document, loss);
    buffer_add_text(document, "],\"required\":[\"bearer\"]}");
    member_begin(document, "Events");
    buffer_add_text(document, "{\"type\":\"array\",\"minItems\":1,\"maxItems\":1000,\"items\":");
    openapi_reference(document, "Event");
    buffer_add_char(document, '}');
}

/* The file's object without its braces. */
static void add_answers(struct buffer *document)
{
    const char *first = strchr(answers_json, '{') + 1;
    const char *last = strrchr(answers_json, '}');
    element_begin(document);
    buffer_add(document, first, (size_t)(last - first));
}

void openapi_components(struct buffer *document, const json_t *examples)
{
    member_begin(document, "components");
    buffer_add_text(
        document, "{\"securitySchemes\":{\"bearer\":{\"type\":\"http\",\"scheme\":\"bearer\",\"description\":"
                  "\"A key's secret\"},\"basic\":{\"type\":\"http\",\"scheme\":\"basic\",\"description\":"
                  "\"A key's name, and its secret as the password\"}}");
    openapi_problem_responses(document, examples);
    openapi_headers(document);
    member_begin(document, "schemas");
    buffer_add_char(document, '{');
    add_event(document);
    add_shapes(document);
    add_tables(document);
    add_answers(document);
    buffer_add_text(document, "}}");
}
