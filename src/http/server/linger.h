/* SPDX-License-Identifier: ISC */
/* Lingering closes (RFC 9112 section 9.6). Closing a socket with unread bytes resets the connection, and the
 * client may lose an answer that it has not read yet. So if a request was not read to its end, the socket
 * stays open a little longer, and the bytes that arrive are read and dropped. Not thread-safe: the caller has
 * a lock. */
#ifndef DEPOSITD_HTTP_SERVER_LINGER_H
#define DEPOSITD_HTTP_SERVER_LINGER_H

#include <stddef.h>
#include <stdint.h>

enum { LINGER_MAX = 64, LINGER_MS = 2000 };

struct lingering {
    struct {
        int fd;
        int64_t until_ms;
    } sockets[LINGER_MAX];
    size_t count;
};

/* Keeps the connection of this descriptor, which its owner then closes. Does nothing if the client has gone,
 * or LINGER_MAX others linger. */
void linger_begin(struct lingering *lingering, int fd, int64_t now_ms);
/* To be called now and then: reads and drops the bytes that have arrived, and closes a socket if its client
 * has gone or its time is over. */
void linger_look(struct lingering *lingering, int64_t now_ms);
void linger_end(struct lingering *lingering);

#endif
