/* SPDX-License-Identifier: ISC */
/* A growing run of bytes with a maximum. Room is always kept for a terminating NUL beyond the length, and
 * every addition goes through reserve(), the one place that grows and fails. */
#include "base/buffer.h"

#include "base/memory.h"

#include <assert.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { CAPACITY_MIN = 256 };

void buffer_init(struct buffer *buffer, size_t maximum)
{
    assert(maximum < SIZE_MAX); /* the NUL comes on top */
    *buffer = (struct buffer){.maximum = maximum};
}

void buffer_dispose(struct buffer *buffer)
{
    free(buffer->data);
    buffer_init(buffer, buffer->maximum);
}

void buffer_reset(struct buffer *buffer)
{
    buffer->length = 0;
    buffer->failed = false;
    if (buffer->data)
        buffer->data[0] = '\0';
}

/* Doubles, so that adding byte by byte stays linear. */
static size_t grown_capacity(const struct buffer *buffer, size_t needed)
{
    size_t doubled = buffer->capacity > SIZE_MAX / 2 ? SIZE_MAX : 2 * buffer->capacity;
    size_t wanted = needed > doubled ? needed : doubled;
    if (wanted < CAPACITY_MIN)
        wanted = CAPACITY_MIN;
    return wanted > buffer->maximum + 1 ? buffer->maximum + 1 : wanted;
}

/* Room for `length` more bytes and the NUL; false sets `failed`. */
static bool reserve(struct buffer *buffer, size_t length)
{
    if (buffer->failed)
        return false;
    if (length > buffer->maximum - buffer->length) {
        buffer->failed = true;
        return false;
    }
    size_t needed = buffer->length + length + 1;
    if (needed <= buffer->capacity)
        return true;

    size_t capacity = grown_capacity(buffer, needed);
    char *data = memory_reallocate(buffer->data, capacity);
    if (!data) {
        buffer->failed = true;
        return false;
    }
    data[buffer->length] = '\0';
    buffer->data = data;
    buffer->capacity = capacity;
    return true;
}

void buffer_add(struct buffer *buffer, const void *data, size_t length)
{
    if (length == 0 || !reserve(buffer, length))
        return;
    memcpy(buffer->data + buffer->length, data, length);
    buffer->length += length;
    buffer->data[buffer->length] = '\0';
}

void buffer_add_text(struct buffer *buffer, const char *text)
{
    buffer_add(buffer, text, strlen(text));
}

void buffer_add_char(struct buffer *buffer, char character)
{
    buffer_add(buffer, &character, 1);
}

void buffer_add_integer(struct buffer *buffer, int64_t number)
{
    char digits[20]; /* "-9223372036854775808" */
    char *end = digits + sizeof digits;
    char *at = end;
    uint64_t left = number < 0 ? -(uint64_t)number : (uint64_t)number;

    do {
        *--at = (char)('0' + left % 10);
        left /= 10;
    } while (left > 0);
    if (number < 0)
        *--at = '-';
    buffer_add(buffer, at, (size_t)(end - at));
}

void buffer_printf(struct buffer *buffer, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(NULL, 0, format, arguments);
    va_end(arguments);

    if (length < 0)
        buffer->failed = true;
    else if (reserve(buffer, (size_t)length)) {
        va_start(arguments, format);
        vsnprintf(buffer->data + buffer->length, (size_t)length + 1, format, arguments);
        va_end(arguments);
        buffer->length += (size_t)length;
    }
}

static bool needs_escape(char character)
{
    return (unsigned char)character < 0x20 || character == '"' || character == '\\';
}

static void add_json_escape(struct buffer *buffer, char character)
{
    static const char named[] = "\b\t\n\f\r\"\\";
    static const char letters[] = "btnfr\"\\";
    const char *found = character != '\0' ? strchr(named, character) : NULL;

    if (found)
        buffer_add(buffer, (char[]){'\\', letters[found - named]}, 2);
    else
        buffer_printf(buffer, "\\u%04x", (unsigned)(unsigned char)character);
}

void buffer_add_json_string(struct buffer *buffer, const char *text, size_t length)
{
    size_t start = 0; /* of the run of plain bytes that is not added yet */

    buffer_add_char(buffer, '"');
    for (size_t i = 0; i < length; i++) {
        if (!needs_escape(text[i]))
            continue;
        buffer_add(buffer, text + start, i - start);
        add_json_escape(buffer, text[i]);
        start = i + 1;
    }
    buffer_add(buffer, text + start, length - start);
    buffer_add_char(buffer, '"');
}

char *buffer_take(struct buffer *buffer, size_t *length)
{
    if (!reserve(buffer, 0)) /* which gives an empty buffer its NUL */
        return NULL;
    char *data = buffer->data;
    *length = buffer->length;
    buffer_init(buffer, buffer->maximum);
    return data;
}
