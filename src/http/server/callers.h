/* SPDX-License-Identifier: ISC */
/* Counts the connections of each address, and decides whether there is room for a new one. Used on the
 * server's thread. */
#ifndef DEPOSITD_HTTP_SERVER_CALLERS_H
#define DEPOSITD_HTTP_SERVER_CALLERS_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stdint.h>
#include <sys/socket.h>

/* Connections beyond max_connections or an address's share. They serve only the probes, briefly, so a service
 * that is full can still be watched. */
enum { CALLERS_RESERVED = 16 };

/* A number for an address: an IPv4 address, or the first 64 bits of an IPv6 address. */
uint64_t callers_address(const struct sockaddr *address);

struct callers;
struct caller;

/* `per_address` 0: a single address may have all connections. NULL: out of memory. */
MUST_CHECK struct callers *callers_new(int most, int per_address);
/* To be called when all connections have left. */
void callers_free(struct callers *callers);

/* Counts another connection from this address; *reserved says whether it is a reserved one. NULL: there is no
 * room. */
MUST_CHECK struct caller *callers_enter(struct callers *callers, const struct sockaddr *address,
                                        bool *reserved);
void callers_leave(struct callers *callers, struct caller *caller, bool reserved);

#endif
