/* SPDX-License-Identifier: ISC */
/* Reads what browsers write, and nothing looser: no preamble, a single boundary, a Content-Disposition with a
 * quoted name in each part, and CR LF after every line of a head (RFC 2046 section 5.1.1, RFC 7578 section
 * 4).
 */
#include "http/request/multipart.h"

#include "base/utf8.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

enum { BOUNDARY_MAX = 70, PARTS_MAX = 512, HEAD_MAX = 1024 };

static const char type[] = "multipart/form-data";

struct text {
    const char *at;
    size_t length;
};

bool multipart_is(const char *content_type)
{
    size_t length = sizeof type - 1;
    return content_type != NULL && strncasecmp(content_type, type, length) == 0 &&
           (content_type[length] == ';' || content_type[length] == '\0');
}

/* Writes CR LF, two hyphens and the boundary. The first boundary has no CR LF. False: it is malformed. */
static bool read_boundary(const char *content_type, char delimiter[static BOUNDARY_MAX + 5])
{
    static const char allowed[] =
        "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz'()+_,-./:=?";
    const char *at = content_type + sizeof type - 1;
    at += strspn(at, "; \t");
    if (strncasecmp(at, "boundary=", 9) != 0)
        return false;
    at += 9;
    bool quoted = *at == '"';
    size_t length = strspn(at + quoted, allowed);
    const char *rest = at + quoted + length;
    if (length == 0 || length > BOUNDARY_MAX || (quoted && *rest++ != '"') || *rest != '\0')
        return false;
    snprintf(delimiter, BOUNDARY_MAX + 5, "\r\n--%.*s", (int)length, at + quoted);
    return true;
}

static bool starts_with(struct text text, const char *with)
{
    size_t length = strlen(with);
    return text.length >= length && memcmp(text.at, with, length) == 0;
}

static void skip(struct text *text, size_t length)
{
    text->at += length;
    text->length -= length;
}

/* The text before `end`, which is skipped. False: it does not come. */
static bool take_until(struct text *rest, const char *end, struct text *taken)
{
    const char *found = memmem(rest->at, rest->length, end, strlen(end));
    if (found == NULL)
        return false;
    *taken = (struct text){rest->at, (size_t)(found - rest->at)};
    skip(rest, taken->length + strlen(end));
    return true;
}

/* The quoted name in `form-data; name="…"`. NULL: another form, or out of memory. */
static const char *read_name(struct text line, struct arena *arena)
{
    static const char head[] = "content-disposition: form-data; name=\"";
    struct text name;
    if (line.length < sizeof head - 1 || strncasecmp(line.at, head, sizeof head - 1) != 0)
        return NULL;
    skip(&line, sizeof head - 1);
    if (!take_until(&line, "\"", &name) || (line.length > 0 && *line.at != ';'))
        return NULL;
    return arena_copy(arena, name.at, name.length);
}

/* Reads the lines of a part's head up to the empty line. NULL: it names no field. */
static const char *read_head(struct text *rest, struct arena *arena)
{
    const char *name = NULL;
    const char *start = rest->at;
    struct text line;
    while (take_until(rest, "\r\n", &line) && rest->at - start <= HEAD_MAX) {
        if (line.length == 0)
            return name;
        const char *found = read_name(line, arena);
        if (found != NULL && name != NULL)
            return NULL;
        name = found != NULL ? found : name;
    }
    return NULL;
}

/* NULL: not UTF-8, with a NUL, or out of memory. */
static const char *copy_text(struct text text, struct arena *arena)
{
    const char *copy =
        memchr(text.at, '\0', text.length) == NULL ? arena_copy(arena, text.at, text.length) : NULL;
    return copy != NULL && utf8_valid(copy) ? copy : NULL;
}

static bool refuse(struct faults *faults, const char *detail)
{
    faults_add(faults, REASON_BAD_FORMAT, NULL, "%s", detail);
    return false;
}

static bool read_parts(struct text rest, const char *delimiter, struct form_field *fields,
                       struct form_body *form, struct faults *faults)
{
    struct text content;
    if (!starts_with(rest, delimiter + 2))
        return refuse(faults, "The form does not begin with its boundary");
    skip(&rest, strlen(delimiter) - 2);
    while (starts_with(rest, "\r\n")) {
        skip(&rest, 2);
        if (form->count == PARTS_MAX)
            return refuse(faults, "The form has too many fields");
        struct form_field *field = &fields[form->count];
        field->name = read_head(&rest, faults->arena);
        if (field->name == NULL || !utf8_valid(field->name) || !take_until(&rest, delimiter, &content))
            return refuse(faults, "A part of the form is malformed");
        field->value = copy_text(content, faults->arena);
        if (field->value == NULL)
            return refuse(faults, "The file is not text in UTF-8");
        form->count++;
    }
    bool ends = starts_with(rest, "--") &&
                (rest.length == 2 || (rest.length == 4 && rest.at[2] == '\r' && rest.at[3] == '\n'));
    return ends || refuse(faults, "The form does not end with its boundary");
}

bool multipart_parse(const char *content_type, const char *body, size_t length, struct form_body *form,
                     struct faults *faults)
{
    char delimiter[BOUNDARY_MAX + 5];
    struct form_field *fields = arena_array(faults->arena, PARTS_MAX, sizeof *fields);
    *form = (struct form_body){.fields = fields};
    if (fields == NULL) {
        faults_add(faults, REASON_OVERLOADED, NULL, "out of memory");
        return false;
    }
    if (!read_boundary(content_type, delimiter))
        return refuse(faults, "The form's boundary is malformed");
    return read_parts((struct text){body, length}, delimiter, fields, form, faults);
}
