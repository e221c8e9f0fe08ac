/* SPDX-License-Identifier: ISC */
/* An answer that is read while it is written: a worker adds to its end as fast as the database gives, and is
 * done with it, while the server's thread reads behind it as slowly as the client takes. What lies between
 * the two is in a file without a name, which is written round and round, so that neither memory nor disk grow
 * with the answer.
 *
 * One thread writes and one reads. Whoever is done with it last, frees it. */
#ifndef DEPOSITD_HTTP_SERVER_LONG_ANSWER_H
#define DEPOSITD_HTTP_SERVER_LONG_ANSWER_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

/* How a reader that has come to the end of what there is waits for more. */
struct long_answer_reader {
    bool (*wait)(void *owner); /* the reader's thread, in long_answer_read; false: it can't */
    void (*wake)(void *owner); /* the writer's thread, once for each wait: the reader may go on at once */
    bool (*is_there)(
        void *owner); /* the writer's thread, while the reader waits; false: nobody will read on */
    void *owner;
};

struct long_answer;

/* `folder` is where the file is made, `maximum` how far, in bytes, the writer may be ahead of the reader.
 * NULL: out of memory. */
MUST_CHECK struct long_answer *long_answer_new(const char *folder, uint64_t maximum,
                                               struct long_answer_reader reader);
void long_answer_free(struct long_answer *answer);

/* The writer's. False: nothing more can be added, long_answer_fault says why. */
MUST_CHECK bool long_answer_add(struct long_answer *answer, const char *bytes, size_t length);
/* Whether the reader has not left. */
bool long_answer_is_wanted(struct long_answer *answer);
/* The same, but a reader that waits is also looked for. */
bool long_answer_look(struct long_answer *answer);
/* The last that the writer does. Not `complete`: the reader is told that it is broken, after what was added.
 * False: the reader has left before, so that the answer is the writer's to free. */
MUST_CHECK bool long_answer_end(struct long_answer *answer, bool complete);
/* NULL: none. Before the end. */
const char *long_answer_fault(const struct long_answer *answer);
/* How much was added. */
uint64_t long_answer_length(const struct long_answer *answer);

enum { LONG_ANSWER_COMPLETE = -1, LONG_ANSWER_BROKEN = -2 };
/* The reader's: the number of bytes it got; 0: none yet, and it waits. */
ssize_t long_answer_read(struct long_answer *answer, char *bytes, size_t most);
/* The last that the reader does. False: the writer has not ended; the answer is its to free. */
MUST_CHECK bool long_answer_leave(struct long_answer *answer);

#endif
