/* SPDX-License-Identifier: ISC */
/* How many connections each address has, and which new ones there is room for. On the server's thread. */
#ifndef DEPOSITD_HTTP_CALLERS_H
#define DEPOSITD_HTTP_CALLERS_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <sys/socket.h>

/* Connections beyond max_connections, or beyond an address's share: they may ask the probes' routes only, and
 * only briefly, so that a service that is full still says so to whoever watches it. */
enum { CALLERS_RESERVED = 16 };

struct callers;
struct caller;

/* `per_address` 0: an address may have all. NULL: out of memory. */
MUST_CHECK struct callers *callers_new(int most, int per_address);
/* All connections have left. */
void callers_free(struct callers *callers);

/* One more connection of this address, one of the reserved ones where *reserved says so. NULL: there is no
 * room for it, not even there, or no memory. */
MUST_CHECK struct caller *callers_enter(struct callers *callers, const struct sockaddr *address,
                                        bool *reserved);
void callers_leave(struct callers *callers, struct caller *caller, bool reserved);

#endif
