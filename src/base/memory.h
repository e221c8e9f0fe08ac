/* SPDX-License-Identifier: ISC */
/* Whether an allocation has failed on this thread: arenas, buffers and the allocators of libraries note them,
 * and the code asks before it gives an answer.
 *
 * Code that builds an answer should notice a failure where it happens. This is the net below it: a refusal,
 * a page or a figure that was made while memory ran out may be wrong, and must not leave the service. */
#ifndef DEPOSITD_BASE_MEMORY_H
#define DEPOSITD_BASE_MEMORY_H

#include <stdbool.h>
#include <stddef.h>

/* Whether one has failed on this thread since memory_forget_failures. */
bool memory_has_failed(void);
void memory_note_failure(void);
void memory_forget_failures(void);

/* malloc, realloc and strdup that note their failures, to be given to libraries. */
void *memory_allocate(size_t size);
void *memory_reallocate(void *memory, size_t size);
char *memory_copy_text(const char *text);

#endif
