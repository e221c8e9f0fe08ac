/* SPDX-License-Identifier: ISC */
/* An answer that is read while it is written. A worker adds to its end as fast as the database delivers. The
 * server's thread reads behind the worker, as slowly as the client takes the bytes. The bytes in between lie
 * in a file without a name, which is used as a ring, so neither memory nor disk use grows with the answer.
 *
 * One thread writes and another reads. The thread that is done last frees the answer. */
#ifndef DEPOSITD_HTTP_SERVER_LONG_ANSWER_H
#define DEPOSITD_HTTP_SERVER_LONG_ANSWER_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

/* How a reader that has read all bytes so far waits for more. */
struct long_answer_reader {
    bool (*wait)(void *owner); /* on the reader's thread, in long_answer_read; false: it cannot wait */
    void (*wake)(void *owner); /* on the writer's thread, once for each wait: the reader may go on at once */
    bool (*is_there)(void *owner); /* on the writer's thread, while the reader waits; false: the reader will
                                      never read on */
    void *owner;
};

struct long_answer;

/* `folder` is where the file is made. `maximum` is how many bytes the writer may be ahead of the reader.
 * NULL: out of memory. */
MUST_CHECK struct long_answer *long_answer_new(const char *folder, uint64_t maximum,
                                               struct long_answer_reader reader);
void long_answer_free(struct long_answer *answer);

/* For the writer. False: nothing more can be added, and long_answer_fault says why. */
MUST_CHECK bool long_answer_add(struct long_answer *answer, const char *bytes, size_t length);
/* Whether the reader has not left. */
bool long_answer_is_wanted(struct long_answer *answer);
/* The same, but if the reader waits, also asks whether it is still there. */
bool long_answer_look(struct long_answer *answer);
/* The writer's last call. If not `complete`, the reader learns after the bytes so far that the answer is
 * broken. False: the reader left before, so the writer must free the answer. */
MUST_CHECK bool long_answer_end(struct long_answer *answer, bool complete);
/* NULL: none. To be called before the end. */
const char *long_answer_fault(const struct long_answer *answer);
/* The number of bytes added so far. */
uint64_t long_answer_length(const struct long_answer *answer);

enum { LONG_ANSWER_COMPLETE = -1, LONG_ANSWER_BROKEN = -2 };
/* For the reader. Returns the number of bytes that it got; 0: there are none yet, and the reader waits. */
ssize_t long_answer_read(struct long_answer *answer, char *bytes, size_t most);
/* The reader's last call. False: the writer has not ended, and will free the answer. */
MUST_CHECK bool long_answer_leave(struct long_answer *answer);

#endif
