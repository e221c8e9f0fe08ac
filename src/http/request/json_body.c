/* SPDX-License-Identifier: ISC */
/* When memory runs out, Jansson (2.14) reports an error in the text, or goes on with half a string. A client
 * that is told that its event is not JSON throws the event away. So the allocator notes its failures. */
#include "http/request/json_body.h"

#include "base/memory.h"

#include <stdlib.h>

void json_body_init(void)
{
    json_set_alloc_funcs(memory_allocate, free);
    json_object_seed(0); /* before threads could race for it */
}

/* Jansson's message quotes the body, and may cut a character in two. So only the position is passed on. */
static void add_fault(const json_error_t *error, struct faults *faults)
{
    if (memory_has_failed())
        faults_refuse(faults, REASON_OVERLOADED);
    else if (json_error_code(error) == json_error_numeric_overflow)
        faults_add(faults, REASON_OUT_OF_RANGE, "", "the number at line %d, column %d is too large",
                   error->line, error->column);
    else if (json_error_code(error) == json_error_duplicate_key)
        faults_add(faults, REASON_NOT_JSON, "", "a member stands twice, at line %d, column %d", error->line,
                   error->column);
    else
        faults_add(faults, REASON_NOT_JSON, "", "it breaks off or is malformed at line %d, column %d",
                   error->line, error->column);
}

json_t *json_body_parse(const char *body, size_t length, struct faults *faults)
{
    json_error_t error = {.text = ""};
    json_t *json =
        json_loadb(length > 0 ? body : "", length, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, &error);
    if (json != NULL && !memory_has_failed())
        return json;
    json_decref(json);
    add_fault(&error, faults);
    return NULL;
}

const char *json_member_text(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text != NULL ? text : "";
}
