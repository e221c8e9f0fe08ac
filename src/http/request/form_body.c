/* SPDX-License-Identifier: ISC */
/* Splits a body at `&`, and each part at its first `=`. */
#include "http/request/form_body.h"

#include "base/uri.h"

#include <string.h>

static size_t count_parts(const char *body, size_t length)
{
    size_t count = 1;
    for (size_t i = 0; i < length; i++)
        count += body[i] == '&';
    return count;
}

/* A copy of the text with its escapes decoded; in a form, + is a space. NULL: out of memory, or not UTF-8. */
static const char *decode(const char *text, size_t length, struct arena *arena)
{
    char *copy = arena_copy(arena, text, length);
    const char *decoded = copy;
    if (copy == NULL || strlen(copy) != length)
        return NULL;
    for (char *at = copy; (at = strchr(at, '+')) != NULL; at++)
        *at = ' ';
    return uri_decode(arena, &decoded) ? decoded : NULL;
}

/* Reads one part, "name=value". False: it is malformed, or out of memory. */
static bool read_field(const char *part, size_t length, struct arena *arena, struct form_field *field)
{
    const char *equals = memchr(part, '=', length);
    size_t name = equals != NULL ? (size_t)(equals - part) : length;
    field->name = decode(part, name, arena);
    field->value = equals != NULL ? decode(equals + 1, length - name - 1, arena) : "";
    return field->name != NULL && field->value != NULL;
}

static bool refuse(struct faults *faults, enum reason reason, const char *detail)
{
    faults_add(faults, reason, NULL, "%s", detail);
    return false;
}

bool form_body_parse(const char *body, size_t length, struct form_body *form, struct faults *faults)
{
    size_t parts = count_parts(body, length);
    *form = (struct form_body){.count = 0};
    if (parts > FORM_FIELDS_MAX)
        return refuse(faults, REASON_TOO_MANY, "The form has too many fields");
    struct form_field *fields = arena_array(faults->arena, parts, sizeof *fields);
    if (fields == NULL)
        return refuse(faults, REASON_OVERLOADED, "out of memory");
    form->fields = fields;
    for (size_t at = 0, part; at < length; at += part + 1) {
        const char *next = memchr(body + at, '&', length - at);
        part = next != NULL ? (size_t)(next - body) - at : length - at;
        if (part == 0)
            continue;
        if (!read_field(body + at, part, faults->arena, &fields[form->count]))
            return refuse(faults, REASON_BAD_FORMAT, "The form is not percent-encoded UTF-8");
        form->count++;
    }
    return true;
}

const char *form_value(const struct form_body *form, const char *name)
{
    for (size_t i = 0; i < form->count; i++)
        if (strcmp(form->fields[i].name, name) == 0)
            return form->fields[i].value;
    return NULL;
}
