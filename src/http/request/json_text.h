/* SPDX-License-Identifier: ISC */
/* Writes JSON member by member into a buffer. Commas are added automatically, except after an opening
 * bracket. */
#ifndef DEPOSITD_HTTP_REQUEST_JSON_TEXT_H
#define DEPOSITD_HTTP_REQUEST_JSON_TEXT_H

#include "base/buffer.h"

/* Adds the comma before an element, unless the element is the first. */
void element_begin(struct buffer *text);
/* The same, followed by "name": */
void member_begin(struct buffer *text, const char *name);
void member_string(struct buffer *text, const char *name, const char *value);
void member_integer(struct buffer *text, const char *name, int64_t value);
void member_boolean(struct buffer *text, const char *name, bool value);
/* A value on its own. */
void string_add(struct buffer *text, const char *value);

/* Removes the closing brace of the object at the end, so that members can be added to it. */
void object_reopen(struct buffer *text);

#endif
