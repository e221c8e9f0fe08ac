/* SPDX-License-Identifier: ISC */
/* Filling the spool, and turning it into a response. */
#include "http/spool.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <unistd.h>

enum { WAITING_MAX = 16 << 20, MUCH = 256 << 10 };

void spool_init(struct spool *spool, const char *folder)
{
    *spool = (struct spool){.folder = folder, .file = -1};
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

static void move_to_file(struct spool *spool)
{
    if (spool->file < 0)
        spool->file = open(spool->folder, O_TMPFILE | O_RDWR | O_CLOEXEC, 0600);
    if (spool->file < 0 || spool->waiting.failed ||
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

static struct MHD_Response *response_of_memory(struct spool *spool)
{
    size_t length;
    char *data = buffer_take(&spool->waiting, &length);
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
    return spool->file >= 0 ? response_of_file(spool) : response_of_memory(spool);
}
