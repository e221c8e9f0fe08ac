/* SPDX-License-Identifier: ISC */
/* A month in a minute: preloaded into the service, it moves the time of day by as many seconds as the file
 * MOVED_CLOCK says (an int64_t, which the test may change at any time). Clocks for time-outs go as they do.
 */
#include <fcntl.h>
#include <stdatomic.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

static _Atomic int64_t *moved_s;

__attribute__((constructor)) static void find_file(void)
{
    const char *path = getenv("MOVED_CLOCK");
    int file = path != NULL ? open(path, O_RDONLY | O_CLOEXEC) : -1;
    void *there = file >= 0 ? mmap(NULL, sizeof *moved_s, PROT_READ, MAP_SHARED, file, 0) : MAP_FAILED;
    if (there == MAP_FAILED)
        abort();
    close(file);
    moved_s = there;
}

int clock_gettime(clockid_t clock, struct timespec *now)
{
    int result = (int)syscall(SYS_clock_gettime, clock, now);
    if (result == 0 && clock == CLOCK_REALTIME && moved_s != NULL)
        now->tv_sec += atomic_load_explicit(moved_s, memory_order_relaxed);
    return result;
}
