/* SPDX-License-Identifier: ISC */
/* Makes the body that would ask the same, and has it decoded. */
#include "http/request/query_body.h"

#include <stdlib.h>
#include <string.h>

enum { DIGITS_MAX = 9 };

/* The query as the body that would ask the same. NULL: out of memory. */
static json_t *body_of_query(const struct request *request, const struct shape *shape)
{
    json_t *body = json_object();
    for (size_t i = 0; i < shape->field_count && body != NULL; i++) {
        const struct field *field = &shape->fields[i];
        const char *text = request_query(request, field->name);
        if (text == NULL)
            continue;
        size_t length = strlen(text);
        bool number = field->form == FORM_INTEGER && length >= 1 && length <= DIGITS_MAX &&
                      strspn(text, "0123456789") == length;
        json_t *value = number ? json_integer(strtoll(text, NULL, 10)) : json_string(text);
        if (value == NULL || json_object_set_new(body, field->name, value) != 0) {
            json_decref(body);
            return NULL;
        }
    }
    return body;
}

bool query_decode(const struct request *request, struct answer *answer, const struct shape *shape,
                  const void *defaults, void *into)
{
    struct faults faults;
    faults_init(&faults, request->arena);
    json_t *json = body_of_query(request, shape);
    if (json == NULL) {
        faults_refuse(&answer->faults, REASON_OVERLOADED);
        return false;
    }
    if (!shape_decode(shape, json, "", defaults, into, &faults))
        for (size_t i = 0; i < faults.count; i++)
            faults_add_parameter(&answer->faults,
                                 faults.items[i].reason == REASON_MEMBER_MISSING ? REASON_PARAMETER_MISSING
                                                                                 : REASON_PARAMETER_INVALID,
                                 faults.items[i].pointer + 1, "%s", faults.items[i].detail);
    json_decref(json);
    return answer->faults.count == 0;
}
