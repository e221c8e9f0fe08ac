/* SPDX-License-Identifier: ISC */
/* A string ends with its quote, so the last character of the text tells whether an object or list has just
 * been opened. */
#include "http/request/json_text.h"

#include <string.h>

void string_add(struct buffer *text, const char *value)
{
    buffer_add_json_string(text, value, strlen(value));
}

void element_begin(struct buffer *text)
{
    char last = text->length > 0 ? text->data[text->length - 1] : '[';
    if (last != '[' && last != '{')
        buffer_add_char(text, ',');
}

void member_begin(struct buffer *text, const char *name)
{
    element_begin(text);
    string_add(text, name);
    buffer_add_char(text, ':');
}

void member_string(struct buffer *text, const char *name, const char *value)
{
    member_begin(text, name);
    string_add(text, value);
}

void member_integer(struct buffer *text, const char *name, int64_t value)
{
    member_begin(text, name);
    buffer_add_integer(text, value);
}

void member_boolean(struct buffer *text, const char *name, bool value)
{
    member_begin(text, name);
    buffer_add_text(text, value ? "true" : "false");
}

void object_reopen(struct buffer *text)
{
    if (!text->failed && text->length > 0 && text->data[text->length - 1] == '}')
        text->data[--text->length] = '\0';
}
