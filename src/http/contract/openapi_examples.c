/* SPDX-License-Identifier: ISC */
/* An example in examples.json is a request with its answer:
 *     {"name", "target", "request": {"type", "body"}, "answer": {"status", "type", "body"}}
 * A body that is not JSON is a string. */
#include "http/contract/openapi_examples.h"

#include "answers.h"
#include "http/request/json_text.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

json_t *examples_read(void)
{
    return json_loads(examples_json, JSON_REJECT_DUPLICATES, NULL);
}

static const json_t *of_route(const json_t *examples, const struct route *route)
{
    return route->id != NULL ? json_object_get(examples, route->id) : NULL;
}

static bool has_type(const json_t *part, const char *type)
{
    const char *own = json_string_value(json_object_get(part, "type"));
    return own != NULL && strcmp(own, type) == 0;
}

static json_int_t status_of(const json_t *example)
{
    return json_integer_value(json_object_get(json_object_get(example, "answer"), "status"));
}

static void add_json(struct buffer *document, const json_t *value)
{
    char *text = json_dumps(value, JSON_COMPACT | JSON_ENCODE_ANY | JSON_REAL_PRECISION(12));
    if (text != NULL)
        buffer_add_text(document, text);
    else
        document->failed = true;
    free(text);
}

/* Writes a member of `examples`, and begins `examples` before the first. */
static void add_example(struct buffer *document, const json_t *example, const json_t *part, bool *begun)
{
    if (!*begun) {
        member_begin(document, "examples");
        buffer_add_char(document, '{');
    }
    *begun = true;
    member_begin(document, json_string_value(json_object_get(example, "name")));
    buffer_add_text(document, "{\"value\":");
    add_json(document, json_object_get(part, "body"));
    buffer_add_char(document, '}');
}

void examples_of_body(struct buffer *document, const json_t *examples, const struct route *route,
                      const char *type)
{
    size_t i;
    json_t *example;
    bool begun = false;
    json_array_foreach(of_route(examples, route), i, example)
    {
        const json_t *request = json_object_get(example, "request");
        if (has_type(request, type) && status_of(example) < 400)
            add_example(document, example, request, &begun);
    }
    if (begun)
        buffer_add_char(document, '}');
}

void examples_of_answer(struct buffer *document, const json_t *examples, const struct route *route,
                        int status, const char *type)
{
    size_t i;
    json_t *example;
    bool begun = false;
    json_array_foreach(of_route(examples, route), i, example)
    {
        const json_t *answer = json_object_get(example, "answer");
        if (status_of(example) == status && has_type(answer, type))
            add_example(document, example, answer, &begun);
    }
    if (begun)
        buffer_add_char(document, '}');
}

/* Finds the text in `target` that stands for {name} of the path. */
static void from_path(const char *path, const char *target, const char *name, char *text, size_t size)
{
    size_t length = strlen(name);
    while (*path != '\0') {
        if (*path++ != '{') {
            target++;
            continue;
        }
        size_t part = strcspn(target, "/?");
        if (strncmp(path, name, length) == 0 && path[length] == '}') {
            snprintf(text, size, "%.*s", (int)part, target);
            return;
        }
        target += part;
        path = strchr(path, '}') + 1;
    }
}

static void from_query(const char *target, const char *name, char *text, size_t size)
{
    size_t length = strlen(name);
    const char *at = strchr(target, '?');
    while (at != NULL) {
        at++;
        if (strncmp(at, name, length) == 0 && at[length] == '=') {
            at += length + 1;
            snprintf(text, size, "%.*s", (int)strcspn(at, "&"), at);
            return;
        }
        at = strchr(at, '&');
    }
}

void example_of_parameter(const json_t *examples, const struct route *route, const char *name, bool in_path,
                          char *text, size_t size)
{
    size_t i;
    json_t *example;
    text[0] = '\0';
    json_array_foreach(of_route(examples, route), i, example)
    {
        const char *target = json_string_value(json_object_get(example, "target"));
        if (text[0] != '\0' || target == NULL)
            continue;
        if (in_path)
            from_path(route->path, target, name, text, size);
        else
            from_query(target, name, text, size);
    }
}
