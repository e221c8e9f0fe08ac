/* SPDX-License-Identifier: ISC */
/* A growing run of bytes with a maximum fixed at the start.
 *
 * Going over the maximum, or out of memory, sets `failed` and drops the addition; every later call is then a
 * no-op, so that a caller composes freely and asks once, at the end. Owned by one thread at a time. */
#ifndef DEPOSITD_BASE_BUFFER_H
#define DEPOSITD_BASE_BUFFER_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct words;

struct buffer {
    char *data; /* NUL-terminated whenever it is not NULL */
    size_t length;
    size_t capacity;
    size_t maximum;
    bool failed;
    const struct words
        *words; /* of the language that a page is written in; NULL: English, or it is no page */
};

void buffer_init(struct buffer *buffer, size_t maximum);
void buffer_dispose(struct buffer *buffer);
/* Empties it and clears `failed`; keeps the memory. */
void buffer_reset(struct buffer *buffer);

void buffer_add(struct buffer *buffer, const void *data, size_t length);
void buffer_add_text(struct buffer *buffer, const char *text);
void buffer_add_char(struct buffer *buffer, char character);
void buffer_add_integer(struct buffer *buffer, int64_t number);
void buffer_printf(struct buffer *buffer, const char *format, ...) PRINTF_LIKE(2, 3);

/* A JSON string with its quotes, escaped as RFC 8785 section 3.2.2.2 has it. `text` is valid UTF-8. */
void buffer_add_json_string(struct buffer *buffer, const char *text, size_t length);

/* Takes the bytes out (free() them); the buffer is left empty. NULL when it failed. */
MUST_CHECK char *buffer_take(struct buffer *buffer, size_t *length);

#endif
