/* SPDX-License-Identifier: ISC */
/* A hash table of addresses with connections. For IPv6 the first 64 bits count as the address, because one
 * host can use all of the other 64. All memory is taken at the start, so no connection is refused for lack of
 * memory. */
#include "http/server/callers.h"

#include <netinet/in.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { BUCKETS = 1024, V4_MAPPED_BYTES = 12 };

struct caller {
    struct caller *next; /* in its bucket, or in the list of free rows */
    uint64_t address;
    int connections; /* without the reserved connections */
    int references;
};

struct callers {
    int most, per_address;
    int served, reserved;
    struct caller *buckets[BUCKETS];
    struct caller *free;
    struct caller
        all[]; /* a row for each connection, and one for a connection that is examined before it is refused */
};

static void release(struct callers *callers, struct caller *caller)
{
    *caller = (struct caller){.next = callers->free};
    callers->free = caller;
}

struct callers *callers_new(int most, int per_address)
{
    size_t count = (size_t)most + CALLERS_RESERVED + 1;
    struct callers *callers = calloc(1, sizeof *callers + count * sizeof callers->all[0]);
    if (callers == NULL)
        return NULL;
    for (size_t i = 0; i < count; i++)
        release(callers, &callers->all[i]);
    callers->most = most;
    callers->per_address = per_address;
    return callers;
}

void callers_free(struct callers *callers)
{
    free(callers);
}

/* Treat an IPv4 address that arrives on an IPv6 socket as an IPv4 address. */
uint64_t callers_address(const struct sockaddr *address)
{
    uint64_t number = 0;
    uint32_t v4 = 0;
    if (address->sa_family == AF_INET) {
        memcpy(&v4, &((const struct sockaddr_in *)(const void *)address)->sin_addr, sizeof v4);
        return v4;
    }
    if (address->sa_family != AF_INET6)
        return 0;
    const struct in6_addr *v6 = &((const struct sockaddr_in6 *)(const void *)address)->sin6_addr;
    if (IN6_IS_ADDR_V4MAPPED(v6)) {
        memcpy(&v4, v6->s6_addr + V4_MAPPED_BYTES, sizeof v4);
        return v4;
    }
    memcpy(&number, v6->s6_addr, sizeof number);
    return number;
}

/* The multiplier is 2^64 divided by the golden ratio, made odd, which spreads addresses that differ in few
 * bits. */
static struct caller **bucket_of(struct callers *callers, uint64_t address)
{
    return &callers->buckets[address * 0x9e3779b97f4a7c15u >> 54];
}

static struct caller *find_or_add(struct callers *callers, uint64_t address)
{
    struct caller **bucket = bucket_of(callers, address);
    for (struct caller *caller = *bucket; caller != NULL; caller = caller->next)
        if (caller->address == address)
            return caller;
    struct caller *caller = callers->free;
    callers->free = caller->next;
    *caller = (struct caller){.next = *bucket, .address = address};
    return *bucket = caller;
}

static void forget_if_gone(struct callers *callers, struct caller *caller)
{
    if (caller->references > 0)
        return;
    struct caller **link = bucket_of(callers, caller->address);
    while (*link != caller)
        link = &(*link)->next;
    *link = caller->next;
    release(callers, caller);
}

struct caller *callers_enter(struct callers *callers, const struct sockaddr *address, bool *reserved)
{
    struct caller *caller = find_or_add(callers, callers_address(address));
    *reserved = callers->served >= callers->most ||
                (callers->per_address > 0 && caller->connections >= callers->per_address);
    if (*reserved && callers->reserved >= CALLERS_RESERVED) {
        forget_if_gone(callers, caller);
        return NULL;
    }
    caller->references++;
    caller->connections += !*reserved;
    callers->served += !*reserved;
    callers->reserved += *reserved;
    return caller;
}

void callers_leave(struct callers *callers, struct caller *caller, bool reserved)
{
    caller->references--;
    caller->connections -= !reserved;
    callers->served -= !reserved;
    callers->reserved -= reserved;
    forget_if_gone(callers, caller);
}
