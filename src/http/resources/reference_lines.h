/* SPDX-License-Identifier: ISC */
/* Reference data as lines (NDJSON): each line is a document, and all of them are one. The lines may be many,
 * and stand in any order, so their file is read several times: once to see what they are, and then once for
 * each list, in an order in which each list refers only to lists before it. Memory holds some thousand things
 * at a time. Owned by one thread. */
#ifndef DEPOSITD_HTTP_RESOURCES_REFERENCE_LINES_H
#define DEPOSITD_HTTP_RESOURCES_REFERENCE_LINES_H

#include "app/network/reference.h"
#include "base/lines.h"
#include "http/request/handler.h"

/* X(list): how many things of a list there are, as the answer counts them. */
#define REFERENCE_LISTS(X)                                                                                   \
    X(schemes)                                                                                               \
    X(participants)                                                                                          \
    X(sites)                                                                                                 \
    X(cup_types)                                                                                             \
    X(terms)                                                                                                 \
    X(refund_values)                                                                                         \
    X(office_accounts)                                                                                       \
    X(tax_registrations)                                                                                     \
    X(site_kinds)                                                                                            \
    X(agreements)

struct reference_counts {
#define X(list) size_t list;
    REFERENCE_LISTS(X)
#undef X
};

enum { REFERENCE_STAGES = 8 };

/* The lines that have a list. */
struct lines_range {
    struct lines_place first;
    size_t last; /* the number of the last one; 0: there are none */
};

/* A line, and the first of its things in the piece. */
struct lines_origin {
    size_t row, line;
};

struct reference_lines {
    struct reference_pieces pieces; /* first: its owner is found by it */
    struct reference_counts counts;
    struct faults *faults;
    struct lines lines;
    struct lines_range ranges[REFERENCE_STAGES];
    size_t stage;
    bool within;        /* some lines of the stage's range have been read */
    struct arena arena; /* of the piece under way */
    struct lines_origin *origins;
    size_t origin_count, origin_capacity;
    size_t faults_before; /* faults that there were before the piece */
};

/* Looks through the lines of the request's file, and adds the faults of lines that are no documents.
 * reference_lines_end follows in any case. */
void reference_lines_begin(struct reference_lines *lines, const struct request *request,
                           struct faults *faults);
void reference_lines_end(struct reference_lines *lines);

#endif
