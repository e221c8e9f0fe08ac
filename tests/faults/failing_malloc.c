/* SPDX-License-Identifier: ISC */
/* Memory that runs out on request: preloaded into the service, it fails allocations that the test picks while
 * the service runs. The test and this share the file that FAILING_MALLOC names.
 *
 * All threads are counted while it is armed. The test learns how many allocations there were, and from where
 * the first failing one was asked for. */
#include <errno.h>
#include <execinfo.h>
#include <fcntl.h>
#include <malloc.h>
#include <stdatomic.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <unistd.h>

enum { FRAMES_MAX = 32 };

/* The layout of the file: allocations.py writes and reads it. */
struct control {
    _Atomic int64_t first;  /* the allocation to fail, counted from 1; 0: none */
    _Atomic int64_t last;   /* the last one to fail */
    _Atomic int64_t count;  /* allocations since it was armed */
    _Atomic int64_t frames; /* of the first that failed; 0: none did */
    void *trace[FRAMES_MAX];
};

/* glibc's own functions by the names that it exports for this: dlsym, which finds them otherwise, allocates.
 */
void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_realloc(void *memory, size_t size);
void *__libc_memalign(size_t alignment, size_t size);

static struct control *_Atomic control;
static _Thread_local int looking __attribute__((tls_model("initial-exec")));

/* backtrace() loads a library when it is first called, for which it allocates. */
__attribute__((constructor)) static void find_file(void)
{
    void *trace[1];
    const char *path = getenv("FAILING_MALLOC");
    int file = path != NULL ? open(path, O_RDWR | O_CLOEXEC) : -1;
    void *there =
        file >= 0 ? mmap(NULL, sizeof *control, PROT_READ | PROT_WRITE, MAP_SHARED, file, 0) : MAP_FAILED;
    if (there == MAP_FAILED || backtrace(trace, 1) < 1)
        abort();
    close(file);
    atomic_store(&control, there);
}

static void note_place(struct control *shared)
{
    if (looking)
        return;
    looking = 1;
    int frames = backtrace(shared->trace, FRAMES_MAX);
    looking = 0;
    atomic_store(&shared->frames, frames);
}

static int fails(void)
{
    struct control *shared = atomic_load_explicit(&control, memory_order_acquire);
    int64_t first = shared != NULL ? atomic_load(&shared->first) : 0;
    if (first == 0 || looking)
        return 0;
    int64_t at = atomic_fetch_add(&shared->count, 1) + 1;
    if (at < first || at > atomic_load(&shared->last))
        return 0;
    if (at == first)
        note_place(shared);
    errno = ENOMEM;
    return 1;
}

void *malloc(size_t size)
{
    return fails() ? NULL : __libc_malloc(size);
}

void *calloc(size_t count, size_t size)
{
    return fails() ? NULL : __libc_calloc(count, size);
}

void *realloc(void *memory, size_t size)
{
    return fails() ? NULL : __libc_realloc(memory, size);
}

void *reallocarray(void *memory, size_t count, size_t size)
{
    size_t total;
    if (__builtin_mul_overflow(count, size, &total)) {
        errno = ENOMEM;
        return NULL;
    }
    return realloc(memory, total);
}

void *memalign(size_t alignment, size_t size)
{
    return fails() ? NULL : __libc_memalign(alignment, size);
}

void *aligned_alloc(size_t alignment, size_t size)
{
    return memalign(alignment, size);
}

int posix_memalign(void **memory, size_t alignment, size_t size)
{
    if (alignment % sizeof(void *) != 0 || (alignment & (alignment - 1)) != 0 || alignment == 0)
        return EINVAL;
    void *found = memalign(alignment, size);
    if (found != NULL)
        *memory = found;
    return found != NULL ? 0 : ENOMEM;
}
