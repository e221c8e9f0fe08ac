/* SPDX-License-Identifier: ISC */
/* Jansson (2.14) takes memory that runs out for an error in the text, or goes on with half a string. A client
 * that is told its event is not JSON throws it away: so whether memory ran out is noted by the allocator. */
#include "http/json_body.h"

#include <stdlib.h>

static _Thread_local bool out_of_memory;

static void *allocate(size_t size)
{
    void *memory = malloc(size);
    out_of_memory = out_of_memory || memory == NULL;
    return memory;
}

void json_body_init(void)
{
    json_set_alloc_funcs(allocate, free);
    json_object_seed(0); /* before threads could race for it */
}

/* Jansson's own words quote the body, and may cut a character in two: only the position is passed on. */
static void add_fault(const json_error_t *error, struct faults *faults)
{
    if (out_of_memory)
        faults_add(faults, REASON_OVERLOADED, NULL, "out of memory");
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
    out_of_memory = false;
    json_t *json =
        json_loadb(length > 0 ? body : "", length, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, &error);
    if (json != NULL && !out_of_memory)
        return json;
    json_decref(json);
    add_fault(&error, faults);
    return NULL;
}
