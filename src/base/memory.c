/* SPDX-License-Identifier: ISC */
/* One flag for each thread. */
#include "base/memory.h"

#include <stdlib.h>
#include <string.h>

static _Thread_local bool failed;

bool memory_has_failed(void)
{
    return failed;
}

void memory_note_failure(void)
{
    failed = true;
}

void memory_forget_failures(void)
{
    failed = false;
}

static void *noted(void *memory)
{
    failed = failed || memory == NULL;
    return memory;
}

void *memory_allocate(size_t size)
{
    return noted(malloc(size));
}

/* Nothing is left of a block that becomes empty: NULL is no failure then. */
void *memory_reallocate(void *memory, size_t size)
{
    void *moved = realloc(memory, size);
    return size > 0 ? noted(moved) : moved;
}

char *memory_copy_text(const char *text)
{
    return noted(strdup(text));
}
