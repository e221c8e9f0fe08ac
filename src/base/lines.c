/* SPDX-License-Identifier: ISC */
/* Pieces are read where they are wanted, so the file's own position does not matter. */
#include "base/lines.h"

#include "base/memory.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { PIECE_BYTES = 128 << 10 };

void lines_init(struct lines *lines, int file, size_t maximum)
{
    *lines = (struct lines){.file = file, .maximum = maximum};
}

void lines_dispose(struct lines *lines)
{
    free(lines->data);
    lines->data = NULL;
}

/* Moves the line that has begun to the front, and makes room for another piece behind it. */
static bool make_room(struct lines *lines)
{
    size_t kept = lines->length - lines->begin, capacity = kept + PIECE_BYTES;
    if (lines->data != NULL)
        memmove(lines->data, lines->data + lines->begin, kept);
    lines->begin = 0;
    lines->length = lines->scanned = kept;
    if (capacity <= lines->capacity)
        return true;
    if (capacity < 2 * kept)
        capacity = 2 * kept;
    char *data = memory_reallocate(lines->data, capacity);
    if (data == NULL)
        return false;
    lines->data = data;
    lines->capacity = capacity;
    return true;
}

static bool read_piece(struct lines *lines)
{
    ssize_t got;
    if (!make_room(lines))
        return false;
    do
        got = pread(lines->file, lines->data + lines->length, PIECE_BYTES, (off_t)lines->read);
    while (got < 0 && errno == EINTR);
    if (got < 0)
        return false;
    lines->ended = got == 0;
    lines->length += (size_t)got;
    lines->read += (uint64_t)got;
    return true;
}

/* `length` is that of the line; `whole` that with its end. */
static enum lines_result give(struct lines *lines, size_t length, size_t whole, const char **text,
                              size_t *given)
{
    if (length > lines->maximum)
        return LINES_TOO_LONG;
    *text = lines->data + lines->begin;
    *given = length;
    lines->begin = lines->scanned = lines->begin + whole;
    lines->number++;
    return LINES_GIVEN;
}

enum lines_result lines_next(struct lines *lines, const char **text, size_t *length)
{
    for (;;) {
        const char *end = lines->length > lines->scanned
                              ? memchr(lines->data + lines->scanned, '\n', lines->length - lines->scanned)
                              : NULL;
        if (end != NULL) {
            size_t found = (size_t)(end - lines->data) - lines->begin;
            return give(lines, found, found + 1, text, length);
        }
        size_t begun = lines->length - lines->begin;
        if (begun > lines->maximum)
            return LINES_TOO_LONG;
        if (lines->ended)
            return begun > 0 ? give(lines, begun, begun, text, length) : LINES_OVER;
        if (!read_piece(lines))
            return LINES_FAILED;
    }
}

struct lines_place lines_tell(const struct lines *lines)
{
    return (struct lines_place){lines->read - (lines->length - lines->begin), lines->number};
}

void lines_go(struct lines *lines, struct lines_place place)
{
    lines->read = place.offset;
    lines->number = place.number;
    lines->begin = lines->length = lines->scanned = 0;
    lines->ended = false;
}
