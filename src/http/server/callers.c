/* SPDX-License-Identifier: ISC */
/* A hash table of addresses with connections. For IPv6 the first 64 bits count as the address, because one
 * host can use all of the other 64. */
#include "http/server/callers.h"

#include <netinet/in.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { BUCKETS = 1024, V4_MAPPED_BYTES = 12 };

struct caller {
    struct caller *next;
    uint64_t address;
    int connections; /* that count: not the reserved ones */
    int references;
};

struct callers {
    int most, per_address;
    int served, reserved;
    struct caller *buckets[BUCKETS];
};

struct callers *callers_new(int most, int per_address)
{
    struct callers *callers = calloc(1, sizeof *callers);
    if (callers == NULL)
        return NULL;
    callers->most = most;
    callers->per_address = per_address;
    return callers;
}

void callers_free(struct callers *callers)
{
    free(callers);
}

/* An IPv4 address that came in by an IPv6 socket is an IPv4 address. */
static uint64_t address_number(const struct sockaddr *address)
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
    struct caller *caller = calloc(1, sizeof *caller);
    if (caller == NULL)
        return NULL;
    caller->address = address;
    caller->next = *bucket;
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
    free(caller);
}

struct caller *callers_enter(struct callers *callers, const struct sockaddr *address, bool *reserved)
{
    struct caller *caller = find_or_add(callers, address_number(address));
    if (caller == NULL)
        return NULL;
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
