/* SPDX-License-Identifier: ISC */
/* A duplicate of the descriptor keeps the connection open after its owner has closed it. */
#include "http/server/linger.h"

#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <sys/socket.h>
#include <unistd.h>

enum { BLOCK_BYTES = 16384, BLOCKS_AT_ONCE = 64 };

/* Reads and drops what has arrived. False: the client has gone. */
static bool drop_input(int fd)
{
    char block[BLOCK_BYTES];
    for (int blocks = 0; blocks < BLOCKS_AT_ONCE; blocks++) {
        /* recvfrom: the recv of this process is wire.c's */
        ssize_t got = recvfrom(fd, block, sizeof block, MSG_DONTWAIT, NULL, NULL);
        if (got <= 0)
            return got < 0 && errno == EAGAIN;
    }
    return true;
}

void linger_begin(struct lingering *lingering, int fd, int64_t now_ms)
{
    if (!drop_input(fd) || lingering->count == LINGER_MAX)
        return;
    int duplicate = fcntl(fd, F_DUPFD_CLOEXEC, 0);
    if (duplicate < 0)
        return;
    lingering->sockets[lingering->count].fd = duplicate;
    lingering->sockets[lingering->count].until_ms = now_ms + LINGER_MS;
    lingering->count++;
}

void linger_look(struct lingering *lingering, int64_t now_ms)
{
    for (size_t i = lingering->count; i-- > 0;) {
        if (drop_input(lingering->sockets[i].fd) && now_ms < lingering->sockets[i].until_ms)
            continue;
        close(lingering->sockets[i].fd);
        lingering->sockets[i] = lingering->sockets[--lingering->count];
    }
}

void linger_end(struct lingering *lingering)
{
    while (lingering->count > 0)
        close(lingering->sockets[--lingering->count].fd);
}
