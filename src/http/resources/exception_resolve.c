/* SPDX-License-Identifier: ISC */
/* POST /v1/exceptions/{exception_id}/resolve. An exception's name is its scheme, its entry and its place
 * among the entry's exceptions, as in tern-bay.27.0. The report of exceptions has these names. */
#include "app/office/exception_resolve.h"

#include "http/resources/handlers.h"
#include "http/resources/oversight_shapes.h"
#include "http/resources/proposing.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    AT_ONCE_MAX = 1000,
    NAME_MAX_LENGTH = 64,
    NOTE_MAX_LENGTH = 500,
    ENTRY_DIGITS_MAX = 18,
    POSITION_DIGITS_MAX = 4
};

struct resolve_body {
    const char *note;
};

struct resolve_many_body {
    struct shape_list ids; /* of const char * */
    const char *note;
};

#define NOTE(body)                                                                                           \
    {                                                                                                        \
        .name = "note", .form = FORM_TEXT, .required = true, .offset = offsetof(struct body, note),          \
        .minimum = 1, .maximum = NOTE_MAX_LENGTH, .description = "The finding"                               \
    }

static const struct field fields[] = {NOTE(resolve_body)};
static const struct field id_field[] = {
    {.name = "", .form = FORM_TEXT, .minimum = 1, .maximum = NAME_MAX_LENGTH}};
static const struct shape shape_id = {"ExceptionId", sizeof(const char *), id_field, 1, .bare = true};
static const struct field fields_of_many[] = {
    {.name = "ids",
     .form = FORM_LIST,
     .required = true,
     .offset = offsetof(struct resolve_many_body, ids),
     .minimum = 1,
     .maximum = AT_ONCE_MAX,
     .shape = &shape_id,
     .description = "The exceptions"},
    NOTE(resolve_many_body),
};
const struct shape shape_exception_resolve = {"ExceptionResolve", sizeof(struct resolve_body), fields, 1,
                                              false};
const struct shape shape_exceptions_resolve = {"ExceptionsResolve", sizeof(struct resolve_many_body),
                                               fields_of_many, 2, false};

/* Reads ".27": a point, and a number without leading zeros. Returns the rest of the text; NULL: the text has
 * another form. */
static const char *read_part(const char *text, size_t digits_max, int64_t *number)
{
    if (*text++ != '.')
        return NULL;
    size_t digits = strspn(text, "0123456789");
    if (digits == 0 || digits > digits_max || (text[0] == '0' && digits > 1))
        return NULL;
    *number = strtoll(text, NULL, 10);
    return text + digits;
}

static bool read_name(const struct request *request, const char *text, struct exception_resolving *resolving)
{
    char code[CODE_SIZE];
    int64_t position = 0;
    size_t length = strcspn(text, ".");
    if (length >= sizeof code)
        return false;
    memcpy(code, text, length);
    code[length] = '\0';
    const struct scheme *scheme = network_scheme(&request->snapshot->network, code);
    const char *rest = read_part(text + length, ENTRY_DIGITS_MAX, &resolving->entry);
    if (rest != NULL)
        rest = read_part(rest, POSITION_DIGITS_MAX, &position);
    if (scheme == NULL || rest == NULL || *rest != '\0')
        return false;
    resolving->scheme = scheme->id;
    resolving->position = (int32_t)position;
    return true;
}

/* The exception that the name names, with the note that the body has. */
static void resolve(const struct request *request, struct answer *answer, const char *name, json_t *json,
                    struct control *control)
{
    struct resolve_body body;
    struct exception_resolving resolving = {.key = request->identity->key};
    if (json == NULL || !shape_decode(&shape_exception_resolve, json, "", NULL, &body, &answer->faults))
        return;
    if (!read_name(request, name, &resolving)) {
        answer_not_found(answer);
        return;
    }
    resolving.note = body.note;
    enum store_result result = exception_resolve(request->pg, &resolving, control, &answer->faults);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
}

void handle_exception_resolve(const struct request *request, struct answer *answer)
{
    struct control control = control_of(request, answer, PROPOSAL_EXCEPTION, request->parts[0]);
    resolve(request, answer, request->parts[0], request_json(request, answer), &control);
    if (control.proposed)
        answer_proposed(request, answer);
}

/* Reads the names. False: a fault has been added. */
static bool read_names(const struct request *request, struct answer *answer,
                       const struct resolve_many_body *body, struct exception_resolving *many)
{
    const char *const *names = body->ids.items;
    char pointer[32];
    for (size_t i = 0; i < body->ids.count; i++) {
        many[i] = (struct exception_resolving){.key = request->identity->key, .note = body->note};
        if (read_name(request, names[i], &many[i]))
            continue;
        snprintf(pointer, sizeof pointer, "/ids/%zu", i);
        faults_add(&answer->faults, REASON_EXCEPTION_UNKNOWN, pointer, "is no exception");
    }
    return answer->faults.count == 0;
}

void handle_exceptions_resolve(const struct request *request, struct answer *answer)
{
    struct resolve_many_body body;
    struct control control = control_of(request, answer, PROPOSAL_EXCEPTION, "");
    json_t *json = request_json(request, answer);
    if (json == NULL || !shape_decode(&shape_exceptions_resolve, json, "", NULL, &body, &answer->faults))
        return;
    struct exception_resolving *many = arena_array(request->arena, body.ids.count, sizeof *many);
    if (many == NULL) {
        faults_refuse(&answer->faults, REASON_OVERLOADED);
        return;
    }
    if (!read_names(request, answer, &body, many))
        return;
    buffer_add_text(&answer->body, "{\"items\":[");
    enum store_result result =
        exceptions_resolve(request->pg, many, body.ids.count, &control, &answer->faults);
    buffer_add_text(&answer->body, "]}");
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (answer->faults.count == 0 && request->dry_run)
        answer_mark_dry_run(answer);
}

void handle_exception_get(const struct request *request, struct answer *answer)
{
    struct exception_state state;
    struct exception_resolving asked = {.key = request->identity->key, .note = ""};
    bool found = false;
    enum store_result result = STORE_OK;
    if (read_name(request, request->parts[0], &asked))
        result = store_exception_get(request->pg, &asked, &answer->body, &found, &state);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (!found)
        answer_not_found(answer);
}

void approve_exception(const struct request *request, struct answer *answer, const struct kept_write *kept,
                       json_t *body, struct control *control)
{
    resolve(request, answer, kept->name, body, control);
}
