/* SPDX-License-Identifier: ISC */
/* Reads a file line by line. Memory holds one line and a piece of the file. Lines end with LF; the last one
 * need not end. Owned by one thread at a time. */
#ifndef DEPOSITD_BASE_LINES_H
#define DEPOSITD_BASE_LINES_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct lines {
    int file;       /* the caller's */
    size_t maximum; /* bytes of a line */
    char *data;     /* a piece of the file, with the line to be given next */
    size_t capacity, length;
    size_t begin;   /* in the piece: where that line begins … */
    size_t scanned; /* … and how far it was looked at */
    uint64_t read;  /* where in the file the piece ends */
    size_t number;  /* of the line given last; the first is 1 */
    bool ended;     /* the file ends with the piece */
};

enum lines_result {
    LINES_GIVEN,
    LINES_OVER,     /* there are no more lines */
    LINES_TOO_LONG, /* the next line has more than `maximum` bytes */
    LINES_FAILED    /* the file can't be read, or memory is lacking */
};

/* Where a line begins. */
struct lines_place {
    uint64_t offset;
    size_t number; /* of the line before */
};

void lines_init(struct lines *lines, int file, size_t maximum);
void lines_dispose(struct lines *lines);

/* Gives the next line, without its end. It is there until the next call. */
MUST_CHECK enum lines_result lines_next(struct lines *lines, const char **text, size_t *length);

/* Where the next line begins; and goes back there. */
struct lines_place lines_tell(const struct lines *lines);
void lines_go(struct lines *lines, struct lines_place place);

#endif
