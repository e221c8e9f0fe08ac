/* SPDX-License-Identifier: ISC */
/* The faults of a request: a list, each with a reason and its place in the request. Every check adds the
 * faults that it finds, from the shape of the JSON to the rules of the ledger. At the end they become a
 * problem answer. Memory comes from the arena given at init. A fault that is found after memory has failed on
 * this thread may be wrong. The list then says only that memory was lacking. Owned by one thread at a
 * time. */
#ifndef DEPOSITD_APP_TRANSACTION_FAULT_H
#define DEPOSITD_APP_TRANSACTION_FAULT_H

#include "base/arena.h"
#include "depositd/reason.h"

enum { FAULTS_MAX = 50 }; /* further ones are only counted */

struct fault {
    enum reason reason;
    const char *pointer;   /* RFC 6901, into the body; "" is its root; NULL for a query parameter */
    const char *parameter; /* the query parameter's name, else NULL */
    const char *detail;    /* a sentence */
    const char *format;    /* that the sentence was made of, for pages in another language */
    size_t placed;         /* how much of the sentence is the place, in words that come before it */
};

struct faults {
    struct arena *arena;
    struct fault *items;
    size_t count, capacity;
    size_t dropped; /* faults that were found after the list was full */
    bool closed;    /* nothing is added any more */
    bool in_words;  /* each detail begins with the place, in words that say more than the pointer */
};

/* The query parameter or the pointer of a fault; NULL: it concerns the whole request. */
const char *fault_where(const struct fault *fault);

/* All that were found, listed or not. */
size_t faults_found(const struct faults *faults);
bool faults_are_full(const struct faults *faults);
/* Whether a fault is listed at the pointer, or at something around it. */
bool faults_have(const struct faults *faults, const char *pointer);

void faults_init(struct faults *faults, struct arena *arena);
void faults_add(struct faults *faults, enum reason reason, const char *pointer, const char *format, ...)
    PRINTF_LIKE(4, 5);
/* Adds a fault about no member of a body, with the reason's title as its detail. */
void faults_refuse(struct faults *faults, enum reason reason);
/* Names the format of the last fault that was added, if its detail was made beforehand. */
void faults_format(struct faults *faults, const char *format);
/* Says in another way where fault `index` stands: by the pointer, and in words before its detail. */
void faults_place(struct faults *faults, size_t index, const char *pointer, const char *words);
/* Puts faults whose pointer begins with /line in the order of their lines, after the others. Faults of a line
 * keep the order in which they were found. */
void faults_order_by_line(struct faults *faults);
/* Puts one fault in place of all that were added and will be added. Takes no memory. */
void faults_replace(struct faults *faults, enum reason reason);
void faults_add_parameter(struct faults *faults, enum reason reason, const char *parameter,
                          const char *format, ...) PRINTF_LIKE(4, 5);

#endif
