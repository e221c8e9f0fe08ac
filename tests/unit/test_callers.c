/* SPDX-License-Identifier: ISC */
/* The room for connections: in all, for one address, and beyond that for the probes. */
#include "http/server/callers.h"

#include "suite.h"

#include <arpa/inet.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { HELD_MAX = 4000 };

static struct {
    struct caller *caller;
    bool reserved;
} held[HELD_MAX];

static struct sockaddr_storage address_of(const char *text)
{
    struct sockaddr_storage storage;
    struct sockaddr_in *v4 = (struct sockaddr_in *)&storage;
    struct sockaddr_in6 *v6 = (struct sockaddr_in6 *)&storage;
    memset(&storage, 0, sizeof storage);
    storage.ss_family = strchr(text, ':') != NULL ? AF_INET6 : AF_INET;
    int read = storage.ss_family == AF_INET6 ? inet_pton(AF_INET6, text, &v6->sin6_addr)
                                             : inet_pton(AF_INET, text, &v4->sin_addr);
    ck_assert_int_eq(read, 1);
    return storage;
}

/* Lets a connection in as number n of those held: 's' served, 'r' reserved, '-' no room. */
static char enter(struct callers *callers, size_t n, const char *text)
{
    struct sockaddr_storage address = address_of(text);
    held[n].caller = callers_enter(callers, (const struct sockaddr *)&address, &held[n].reserved);
    return held[n].caller == NULL ? '-' : held[n].reserved ? 'r' : 's';
}

static void leave(struct callers *callers, size_t n)
{
    if (held[n].caller != NULL)
        callers_leave(callers, held[n].caller, held[n].reserved);
    held[n].caller = NULL;
}

START_TEST(no_more_than_most_in_all)
{
    struct callers *callers = callers_new(2, 0);
    ck_assert_int_eq(enter(callers, 0, "192.0.2.1"), 's');
    ck_assert_int_eq(enter(callers, 1, "192.0.2.1"), 's');
    for (size_t n = 2; n < 2 + CALLERS_RESERVED; n++)
        ck_assert_int_eq(enter(callers, n, "192.0.2.2"), 'r');
    ck_assert_int_eq(enter(callers, 2 + CALLERS_RESERVED, "192.0.2.3"), '-');
    leave(callers, 5);
    ck_assert_int_eq(enter(callers, 5, "192.0.2.3"), 'r');
    leave(callers, 0);
    ck_assert_int_eq(enter(callers, 0, "192.0.2.4"), 's');
    for (size_t n = 0; n < 2 + CALLERS_RESERVED; n++)
        leave(callers, n);
    callers_free(callers);
}
END_TEST

/* The last column: whether both addresses count as one. */
static const struct {
    const char *first, *second;
    bool same;
} pairs[] = {
    {"192.0.2.1", "192.0.2.1", true},
    {"192.0.2.1", "192.0.2.2", false},
    {"2001:db8::1", "2001:db8::ffff:1", true}, /* a host's own 64 bits */
    {"2001:db8:0:1::1", "2001:db8:0:2::1", false},
    {"::ffff:192.0.2.1", "192.0.2.1", true}, /* IPv4 by an IPv6 socket: RFC 4291 section 2.5.5.2 */
    {"::ffff:192.0.2.1", "::ffff:192.0.2.2", false},
};

START_TEST(an_address_has_its_share)
{
    for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
        struct callers *callers = callers_new(100, 1);
        ck_assert_int_eq(enter(callers, 0, pairs[i].first), 's');
        ck_assert_msg(enter(callers, 1, pairs[i].second) == (pairs[i].same ? 'r' : 's'), "%s, %s",
                      pairs[i].first, pairs[i].second);
        leave(callers, 0);
        ck_assert_int_eq(enter(callers, 0, pairs[i].first), 's');
        leave(callers, 0);
        leave(callers, 1);
        callers_free(callers);
    }
}
END_TEST

/* Connections come and go by chance. At the end the leak checker sees that nothing is left. */
START_TEST(many_addresses)
{
    struct callers *callers = callers_new(HELD_MAX, 3);
    size_t counts[2000] = {0}, of[HELD_MAX];
    char text[INET_ADDRSTRLEN];
    srand(1);
    for (int round = 0; round < 100000; round++) {
        size_t n = (size_t)rand() % HELD_MAX;
        if (held[n].caller != NULL) {
            counts[of[n]] -= !held[n].reserved;
            leave(callers, n);
            continue;
        }
        of[n] = (size_t)rand() % 2000;
        snprintf(text, sizeof text, "10.0.%zu.%zu", of[n] / 256, of[n] % 256);
        char entered = enter(callers, n, text);
        ck_assert((entered == 's') == (counts[of[n]] < 3));
        counts[of[n]] += entered == 's';
    }
    for (size_t n = 0; n < HELD_MAX; n++)
        leave(callers, n);
    callers_free(callers);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("callers");
    TCase *tcase = tcase_create("callers");
    tcase_add_test(tcase, no_more_than_most_in_all);
    tcase_add_test(tcase, an_address_has_its_share);
    tcase_add_test(tcase, many_addresses);
    suite_add_tcase(suite, tcase);
    return suite;
}
