/* SPDX-License-Identifier: ISC */
/* Fills the spool, and makes a response from it. */
#include "http/request/spool.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

enum { WAITING_MAX = 16 << 20, MUCH = 256 << 10 };

void spool_init(struct spool *spool, const char *folder, uint64_t maximum)
{
    *spool = (struct spool){.folder = folder, .maximum = maximum, .file = -1};
    buffer_init(&spool->waiting, WAITING_MAX);
}

void spool_dispose(struct spool *spool)
{
    if (spool->file >= 0)
        close(spool->file);
    spool->file = -1;
    buffer_dispose(&spool->waiting);
}

struct buffer *spool_buffer(struct spool *spool)
{
    return &spool->waiting;
}

static bool write_all(int file, const char *data, size_t length)
{
    while (length > 0) {
        ssize_t written = write(file, data, length);
        if (written < 0 && errno == EINTR)
            continue;
        if (written < 0)
            return false;
        data += written;
        length -= (size_t)written;
    }
    return true;
}

/* Some file systems have no files without names. There the file loses its name at once. */
int spool_file(const char *folder)
{
    int file = open(folder, O_TMPFILE | O_RDWR | O_CLOEXEC, 0600);
    char path[PATH_MAX];
    if (file >= 0 || snprintf(path, sizeof path, "%s/depositd-XXXXXX", folder) >= (int)sizeof path)
        return file;
    file = mkostemp(path, O_CLOEXEC);
    if (file >= 0)
        unlink(path);
    return file;
}

static void move_to_file(struct spool *spool)
{
    if (spool->file < 0)
        spool->file = spool_file(spool->folder);
    if (spool->file < 0 || spool->waiting.failed || spool->waiting.length > spool->maximum - spool->written ||
        !write_all(spool->file, spool->waiting.data, spool->waiting.length))
        spool->failed = true;
    else
        spool->written += spool->waiting.length;
    buffer_reset(&spool->waiting);
}

void spool_settle(struct spool *spool)
{
    if (spool->waiting.length >= MUCH || spool->waiting.failed)
        move_to_file(spool);
}

int spool_finish(struct spool *spool)
{
    move_to_file(spool);
    return spool->failed ? -1 : spool->file;
}

static struct MHD_Response *response_of_file(struct spool *spool)
{
    if (spool->waiting.length > 0)
        move_to_file(spool);
    if (spool->failed)
        return NULL;
    struct MHD_Response *response = MHD_create_response_from_fd64(spool->written, spool->file);
    if (response != NULL)
        spool->file = -1; /* the response closes it */
    return response;
}

struct MHD_Response *spool_take_buffer(struct buffer *buffer)
{
    size_t length;
    char *data = buffer_take(buffer, &length);
    if (data == NULL)
        return NULL;
    struct MHD_Response *response = MHD_create_response_from_buffer(length, data, MHD_RESPMEM_MUST_FREE);
    if (response == NULL)
        free(data);
    return response;
}

struct MHD_Response *spool_response(struct spool *spool)
{
    if (spool->failed)
        return NULL;
    return spool->file >= 0 ? response_of_file(spool) : spool_take_buffer(&spool->waiting);
}
