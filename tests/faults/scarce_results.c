/* SPDX-License-Identifier: ISC */
/* Preloaded into the service: PQmakeEmptyPGresult fails, as it does without memory, at the call that the file
 * SCARCE_RESULTS counts down to (an int32_t, which the test may set at any time; below 0: never). */
#include <dlfcn.h>
#include <fcntl.h>
#include <libpq-fe.h>
#include <stdatomic.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <unistd.h>

static _Atomic int32_t *left;
static PGresult *(*make)(PGconn *, ExecStatusType);

__attribute__((constructor)) static void find(void)
{
    const char *path = getenv("SCARCE_RESULTS");
    int file = path != NULL ? open(path, O_RDWR | O_CLOEXEC) : -1;
    void *there =
        file >= 0 ? mmap(NULL, sizeof *left, PROT_READ | PROT_WRITE, MAP_SHARED, file, 0) : MAP_FAILED;
    *(void **)&make = dlsym(RTLD_NEXT, "PQmakeEmptyPGresult");
    if (there == MAP_FAILED || make == NULL)
        abort();
    close(file);
    left = there;
}

PGresult *PQmakeEmptyPGresult(PGconn *connection, ExecStatusType status)
{
    if (atomic_load(left) >= 0 && atomic_fetch_sub(left, 1) == 0)
        return NULL;
    return make(connection, status);
}
