/* SPDX-License-Identifier: ISC */
/* The target of a request: the route that its method and path name, its decoded parts, the representation
 * that its Accept header prefers, and the caller that its Authorization header names. */
#include "base/uri.h"
#include "http/request/router.h"

#include "http/contract/routes.h"
#include "http/request/media.h"
#include "http/server/auth.h"
#include "report/report.h"
#include "suite.h"

#include <stdlib.h>
#include <string.h>

/* The path of the route that is found, and its parts; or the methods that the path has. */
static const struct {
    const char *method, *path, *route, *parts[PATH_PARAMETERS_MAX], *allow;
} matches[] = {
    {"GET", "/", "/", {0}, NULL},
    {"HEAD", "/healthz", "/healthz", {0}, NULL},
    {"GET", "/v1/events", "/v1/events", {0}, NULL},
    {"POST", "/v1/events", "/v1/events", {0}, NULL},
    {"GET", "/v1/events/6f1c", "/v1/events/{event_id}", {"6f1c"}, NULL},
    {"GET", "/v1/schemes/tern-bay/terms", "/v1/schemes/{scheme}/terms", {"tern-bay"}, NULL},
    {"PUT",
     "/v1/schemes/tern-bay/terms/2026-05-12",
     "/v1/schemes/{scheme}/terms/{effective_date}",
     {"tern-bay", "2026-05-12"},
     NULL},
    {"PUT",
     "/v1/schemes/a/refund-values/b/c",
     "/v1/schemes/{scheme}/refund-values/{cup_type}/{effective_date}",
     {"a", "b", "c"},
     NULL},
    {"POST", "/v1/schemes/a/days/b/close", "/v1/schemes/{scheme}/days/{date}/close", {"a", "b"}, NULL},
    {"GET", "/v1/sites/%41%2f%C3%A4", "/v1/sites/{site}", {"A/\u00e4"}, NULL},
    {"GET", "/v1/sites/a+b", "/v1/sites/{site}", {"a+b"}, NULL}, /* a plus is a space in queries only */
    /* no such path */
    {"GET", "", NULL, {0}, ""},
    {"GET", "/v1", NULL, {0}, ""},
    {"GET", "/v1/event", NULL, {0}, ""},
    {"GET", "/v1/eventss", NULL, {0}, ""},
    {"GET", "/v1/events/", NULL, {0}, ""},
    {"GET", "/v1/events/a/b", NULL, {0}, ""},
    {"GET", "/v1/schemes//terms", NULL, {0}, ""},
    {"GET", "//v1/events", NULL, {0}, ""},
    {"GET", "/V1/events", NULL, {0}, ""},
    {"GET", "/v1/sites/%00", NULL, {0}, ""},
    {"GET", "/v1/sites/%4", NULL, {0}, ""},
    {"GET", "/v1/sites/%", NULL, {0}, ""},
    {"GET", "/v1/sites/%zz", NULL, {0}, ""},
    {"GET", "/v1/sites/%ff", NULL, {0}, ""},
    {"GET", "*", NULL, {0}, ""},
    /* no such method there */
    {"POST", "/healthz", NULL, {0}, "GET, HEAD"},
    {"DELETE", "/v1/events", NULL, {0}, "GET, HEAD, POST"},
    {"PUT", "/v1/events", NULL, {0}, "GET, HEAD, POST"},
    {"PATCH", "/v1/sites/anchor", NULL, {0}, "GET, HEAD, PUT"},
    {"GET", "/v1/keys/name", NULL, {0}, "DELETE"},
    {"get",
     "/v1/events",
     NULL,
     {0},
     "GET, HEAD, POST"}, /* methods are case-sensitive (RFC 9110 section 9.1) */
    {"OPTIONS", "/v1/keys", NULL, {0}, "GET, HEAD, POST"},
};

START_TEST(a_path_and_method_name_a_route)
{
    struct arena arena;
    char allow[ALLOW_MAX];
    unsigned allowed;
    arena_init(&arena, 0);
    struct request request = {.arena = &arena};
    ck_assert(router_match(matches[_i].method, matches[_i].path, &request, &allowed));
    if (matches[_i].route == NULL) {
        router_allow(allowed, allow);
        ck_assert_ptr_null(request.route);
        ck_assert_str_eq(allow, matches[_i].allow);
    } else {
        ck_assert_ptr_nonnull(request.route);
        ck_assert_str_eq(request.route->path, matches[_i].route);
        ck_assert_str_eq(method_word(request.route->method),
                         strcmp(matches[_i].method, "HEAD") == 0 ? "GET" : matches[_i].method);
        for (size_t i = 0; i < PATH_PARAMETERS_MAX; i++)
            ck_assert_pstr_eq(request.parts[i], matches[_i].parts[i]);
    }
    arena_dispose(&arena);
}
END_TEST

/* Each route is found by its own path, so that none hides behind another. */
START_TEST(every_route_can_be_reached)
{
    size_t count;
    const struct route *routes = routes_all(&count);
    for (size_t i = 0; i < count; i++) {
        struct arena arena;
        unsigned allowed;
        arena_init(&arena, 0);
        struct request request = {.arena = &arena};
        ck_assert(router_match(method_word(routes[i].method), routes[i].path, &request, &allowed));
        ck_assert_ptr_eq(request.route, &routes[i]);
        arena_dispose(&arena);
    }
}
END_TEST

START_TEST(a_link_is_known_by_its_path)
{
    static const char *const found[][2] = {{"/", "/"},
                                           {"/v1/sites/anchor", "/v1/sites/{site}"},
                                           {"/v1/sites/{site}?x=/v1/y", "/v1/sites/{site}"},
                                           {"/v1/events?scheme=a/b", "/v1/events"}};
    for (size_t i = 0; i < sizeof found / sizeof found[0]; i++) {
        const struct route *route = router_find(METHOD_GET, found[i][0]);
        ck_assert_ptr_nonnull(route);
        ck_assert_str_eq(route->path, found[i][1]);
    }
    ck_assert_ptr_null(router_find(METHOD_GET, "/v1/sites/?x"));
    ck_assert_ptr_null(router_find(METHOD_GET, "/v1/nothing?/v1/events"));
    ck_assert_ptr_null(router_find(METHOD_DELETE, "/v1/events"));
}
END_TEST

/* Dual control depends on it. If one person alone could make such a key, that person could take both
 * steps. */
static void roles_that_approve_are_made_by_two(const struct route *route)
{
    size_t length = strlen(route->path);
    if (length < 8 || strcmp(route->path + length - 8, "/approve") != 0)
        return;
    for (unsigned role = 0; role < ROLE_COUNT; role++)
        ck_assert_msg((route->roles & 1u << role) == 0 || role_making((enum role)role) == MADE_BY_TWO,
                      "%s approves at %s, so its row in role.h must say BY_TWO", role_word((enum role)role),
                      route->path);
}

static void check_roles_of(enum role_reach reach, const char *expected)
{
    char words[100] = "";
    for (unsigned role = 0; role < ROLE_COUNT; role++) {
        if (role_reach((enum role)role) != reach)
            continue;
        if (words[0] != '\0')
            strcat(words, " or ");
        strcat(words, role_word((enum role)role));
    }
    ck_assert_str_eq(words, expected);
}

START_TEST(help_names_the_roles_with_each_reach)
{
    check_roles_of(REACH_SITES, ROLES_OF_SITES);
    check_roles_of(REACH_PARTICIPANT, ROLES_OF_PARTICIPANT);
}
END_TEST

START_TEST(every_route_is_complete)
{
    size_t count;
    const struct route *routes = routes_all(&count);
    for (size_t i = 0; i < count; i++) {
        const struct route *route = &routes[i];
        bool writes = route->method != METHOD_GET;
        ck_assert(route->summary != NULL && route->answer_statuses[0] != 0);
        ck_assert((route->answer_schema == NULL) == (route->answer_statuses[0] == 204));
        bool shows_books = strncmp(route->path, "/v1/", 4) == 0 || strcmp(route->path, "/") == 0 ||
                           strncmp(route->path, "/forms/", 7) == 0 || strcmp(route->path, "/counter") == 0 ||
                           strncmp(route->path, "/templates/", 11) == 0;
        ck_assert_msg(shows_books == (route->roles != 0), "%s", route->path);
        ck_assert_msg(route->dry_run == (writes && !route->for_browsers), "%s",
                      route->path); /* any write takes ?dry_run= */
        ck_assert(!route->at_once || route->roles == 0);
        ck_assert(route->body == NULL || writes);
        bool posts_events = strcmp(route->path, "/v1/events") == 0 || route->event_of_lines != NULL;
        ck_assert_msg((route->run == NULL) == (writes && posts_events), "%s", route->path);
        roles_that_approve_are_made_by_two(route);
    }
}
END_TEST

static const struct {
    const char *encoded, *decoded; /* NULL: malformed */
} texts[] = {
    {"", ""},
    {"tern-bay", "tern-bay"},
    {"%74%65%72%6E", "tern"},
    {"a%20b%25", "a b%"},
    {"%", NULL},
    {"%7", NULL},
    {"a%7g", NULL},
    {"%-1", NULL},
    {"a%00", NULL},
    /* UTF-8 (RFC 3629): the ends of each length, and what is not well-formed */
    {"%7F%C2%80%DF%BF%E0%A0%80%EF%BF%BF%F0%90%80%80%F4%8F%BF%BF",
     "\x7f\xc2\x80\u07ff\u0800\uffff\U00010000\U0010ffff"},
    {"%ED%9F%BF%EE%80%80", "\xed\x9f\xbf\xee\x80\x80"},
    {"\xc3\xa4", "\u00e4"},
    {"%80", NULL},
    {"%C0%80", NULL},
    {"%C1%BF", NULL},
    {"%C3", NULL},
    {"%C3a", NULL},
    {"%E0%9F%BF", NULL},
    {"%E2%82", NULL},
    {"%ED%A0%80", NULL},
    {"%F0%8F%BF%BF", NULL},
    {"%F0%9F%8D", NULL},
    {"%F4%90%80%80", NULL},
    {"%F5%80%80%80", NULL},
    {"%FF", NULL},
};

static bool row_has(const struct route *route, const char *name)
{
    for (size_t i = 0; i < ROUTE_PARAMETERS_MAX && route->parameters[i].name != NULL; i++)
        if (strcmp(route->parameters[i].name, name) == 0)
            return true;
    return false;
}

static bool a_report_has(const char *name)
{
    size_t count;
    const struct report *reports = reports_all(&count);
    for (size_t r = 0; r < count; r++)
        for (size_t i = 0; i < report_parameter_count(&reports[r]); i++)
            if (strcmp(reports[r].parameters[i].name, name) == 0)
                return true;
    return false;
}

/* The row of the route of reports lists each parameter of each report, and no other. */
START_TEST(the_route_of_reports_takes_what_they_ask_for)
{
    size_t count;
    const struct report *reports = reports_all(&count);
    const struct route *route = router_find(METHOD_GET, "/v1/reports/{report}");
    ck_assert_ptr_nonnull(route);
    for (size_t r = 0; r < count; r++)
        for (size_t i = 0; i < report_parameter_count(&reports[r]); i++)
            ck_assert_msg(row_has(route, reports[r].parameters[i].name), "%s of %s is not in the row",
                          reports[r].parameters[i].name, reports[r].name);
    for (size_t i = 0; i < ROUTE_PARAMETERS_MAX && route->parameters[i].name != NULL; i++) {
        const char *name = route->parameters[i].name;
        bool of_all = strcmp(name, "scheme") == 0 || strcmp(name, "after") == 0;
        ck_assert_msg(of_all || a_report_has(name), "no report has %s", name);
    }
}
END_TEST

START_TEST(escapes_are_bytes_of_utf8)
{
    struct arena arena;
    const char *text = texts[_i].encoded;
    arena_init(&arena, 0);
    ck_assert(uri_decode(&arena, &text));
    ck_assert_pstr_eq(text, texts[_i].decoded);
    arena_dispose(&arena);
}
END_TEST

START_TEST(out_of_memory_is_not_taken_for_a_bad_path)
{
    struct arena arena;
    const char *text = "0123456789";
    unsigned allowed;
    arena_init(&arena, 1);
    struct request request = {.arena = &arena};
    ck_assert(!uri_decode(&arena, &text));
    ck_assert(!router_match("GET", "/v1/sites/anchor", &request, &allowed));
    ck_assert(router_match("GET", "/v1/sites", &request, &allowed));
    arena_dispose(&arena);
}
END_TEST

enum { JSON = 1u << MEDIA_JSON, CSV = 1u << MEDIA_CSV };
#define NONE MEDIA_COUNT

static const struct {
    unsigned offered;
    const char *accept;
    enum media chosen;
} accepts[] = {
    {JSON, NULL, MEDIA_JSON},
    {JSON | CSV, NULL, MEDIA_JSON},
    {JSON | CSV, "", NONE},
    {JSON | CSV, "*/*", MEDIA_JSON},
    {JSON | CSV, "text/csv", MEDIA_CSV},
    {JSON, "text/csv", NONE},
    {JSON | CSV, "text/*", MEDIA_CSV},
    {JSON | CSV, "application/*", MEDIA_JSON},
    {JSON | CSV, "appl/*", NONE},
    {JSON | CSV, "Text/CSV; charset=utf-8", MEDIA_CSV},
    {JSON | CSV, "text/csv-schema", NONE},
    {JSON | CSV, "text/cs", NONE},
    {JSON | CSV, "application/json;q=0.5, text/csv;q=0.6", MEDIA_CSV},
    {JSON | CSV, "application/json;q=0.501,text/csv;q=0.5", MEDIA_JSON},
    {JSON | CSV, "application/json ; q=0.1 , */*", MEDIA_CSV}, /* the more specific range counts */
    {JSON | CSV, "*/*;q=0.1, text/*;q=0.2, text/csv;q=0", MEDIA_JSON},
    {JSON | CSV, "text/csv;q=0", NONE},
    {JSON | CSV, "text/csv;q=0.000", NONE},
    {JSON | CSV, "text/csv;q=x", NONE},
    {JSON | CSV, "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8", MEDIA_JSON},
    {JSON | CSV, ",, ,text/csv,,", MEDIA_CSV},
    /* RFC 9110 section 12.5.1: text/html;level=1 and the like; parameters other than q are ignored */
    {JSON | CSV, "text/csv;level=1;q=0.3, application/json;q=0.2", MEDIA_CSV},
};

START_TEST(the_representation_is_the_one_preferred)
{
    enum media chosen = NONE;
    bool found = media_negotiate(accepts[_i].offered, accepts[_i].accept, &chosen);
    ck_assert_msg(chosen == accepts[_i].chosen, "%s: %d", accepts[_i].accept, (int)chosen);
    ck_assert_int_eq(found, chosen != NONE);
}
END_TEST

START_TEST(a_format_is_one_of_those_on_offer)
{
    enum media chosen;
    ck_assert(media_parse(JSON | CSV, "csv", &chosen));
    ck_assert_int_eq(chosen, MEDIA_CSV);
    ck_assert(!media_parse(JSON, "csv", &chosen));
    ck_assert(!media_parse(JSON | CSV, "", &chosen));
    ck_assert(!media_parse(JSON | CSV, "CSV", &chosen));
}
END_TEST

START_TEST(a_body_is_json_when_it_says_so)
{
    ck_assert(media_is(MEDIA_JSON, "application/json"));
    ck_assert(media_is(MEDIA_JSON, "Application/JSON; charset=utf-8"));
    ck_assert(media_is(MEDIA_JSON, "application/json;charset=utf-8"));
    ck_assert(!media_is(MEDIA_JSON, NULL));
    ck_assert(!media_is(MEDIA_JSON, ""));
    ck_assert(!media_is(MEDIA_JSON, "application/x-ndjson"));
    ck_assert(!media_is(MEDIA_JSON, "application/jsonx"));
    ck_assert(!media_is(MEDIA_JSON, "text/json"));
}
END_TEST

/* Base64 of pairs is by RFC 4648; the second is the example of RFC 7617 section 2 (from memory). */
static const struct {
    const char *authorization, *secret, *name; /* `secret` NULL: no credentials were given */
} headers[] = {
    {"Bearer dk_abc", "dk_abc", ""},
    {"Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ==", "open sesame", "Aladdin"},
    {"basic QWxhZGRpbjpvcGVuIHNlc2FtZQ==", "open sesame", "Aladdin"},
    {"BEARER   dk_abc", "dk_abc", ""},
    {"Basic YTpiOmM=", "b:c", "a"}, /* the first colon ends the name */
    {"Basic YTpi", "b", "a"},
    {"Basic YTpiYg", "bb", "a"}, /* unpadded */
    {NULL, NULL, ""},
    {"", NULL, ""},
    {"Bearer", NULL, ""},
    {"Bearer ", NULL, ""},
    {"dk_abc", NULL, ""},
    {"Digest dk_abc", NULL, ""},
    {"Basic OmI=", NULL, ""},     /* ":b" */
    {"Basic YTo=", NULL, "a"},    /* "a:" */
    {"Basic YWI=", NULL, ""},     /* "ab" */
    {"Basic YTpiAGM=", NULL, ""}, /* a NUL inside */
    {"Basic YTpi!!!!", NULL, ""},
    {"Basic YT=pi", NULL, ""},
    {"Basic", NULL, ""},
};

START_TEST(credentials_are_a_secret_and_perhaps_a_name)
{
    struct credentials credentials;
    struct sha256 hash;
    credentials_read(headers[_i].authorization, NULL, &credentials);
    ck_assert_int_eq(credentials.given, headers[_i].secret != NULL);
    ck_assert_str_eq(credentials.name, headers[_i].name);
    if (headers[_i].secret != NULL) {
        sha256_of(headers[_i].secret, strlen(headers[_i].secret), &hash);
        ck_assert_mem_eq(&credentials.secret_hash, &hash, sizeof hash);
    }
}
END_TEST

/* The lengths go beyond any secret, any name, and both together. */
START_TEST(long_credentials_are_none)
{
    char header[4096];
    struct credentials credentials;
    for (size_t length = 1; length < 3000; length++) {
        memset(header, 'A', sizeof header);
        memcpy(header, "Bearer ", 7);
        header[7 + length] = '\0';
        credentials_read(header, NULL, &credentials);
        ck_assert_int_eq(credentials.given, length <= 256);
        memcpy(header, "Basic  ", 7);
        credentials_read(header, NULL, &credentials);
        ck_assert(!credentials.given);
    }
}
END_TEST

START_TEST(a_name_must_be_the_keys_own)
{
    struct identity key = {.key = 1, .name = "till-1"};
    struct snapshot snapshot = {.keys = {.identities = &key, .count = 1}};
    struct credentials credentials;
    sha256_of("dk_abc", 6, &key.secret_hash);
    credentials_read("Bearer dk_abc", NULL, &credentials);
    ck_assert_ptr_eq(credentials_identity(&credentials, &snapshot), &key);
    ck_assert_ptr_null(credentials_identity(&credentials, NULL));
    credentials_read("Bearer dk_abd", NULL, &credentials);
    ck_assert_ptr_null(credentials_identity(&credentials, &snapshot));
    credentials_read("Basic dGlsbC0xOmRrX2FiYw==", NULL, &credentials); /* till-1:dk_abc */
    ck_assert_ptr_eq(credentials_identity(&credentials, &snapshot), &key);
    credentials_read("Basic dGlsbC0yOmRrX2FiYw==", NULL, &credentials); /* till-2:dk_abc */
    ck_assert_ptr_null(credentials_identity(&credentials, &snapshot));
}
END_TEST

#define COUNT(array) (int)(sizeof(array) / sizeof(array)[0])

Suite *file_suite(void)
{
    Suite *suite = suite_create("router");
    TCase *tests = tcase_create("router");
    routes_init();
    tcase_add_loop_test(tests, a_path_and_method_name_a_route, 0, COUNT(matches));
    tcase_add_test(tests, every_route_can_be_reached);
    tcase_add_test(tests, a_link_is_known_by_its_path);
    tcase_add_test(tests, help_names_the_roles_with_each_reach);
    tcase_add_test(tests, every_route_is_complete);
    tcase_add_test(tests, the_route_of_reports_takes_what_they_ask_for);
    tcase_add_loop_test(tests, escapes_are_bytes_of_utf8, 0, COUNT(texts));
    tcase_add_test(tests, out_of_memory_is_not_taken_for_a_bad_path);
    tcase_add_loop_test(tests, the_representation_is_the_one_preferred, 0, COUNT(accepts));
    tcase_add_test(tests, a_format_is_one_of_those_on_offer);
    tcase_add_test(tests, a_body_is_json_when_it_says_so);
    tcase_add_loop_test(tests, credentials_are_a_secret_and_perhaps_a_name, 0, COUNT(headers));
    tcase_add_test(tests, long_credentials_are_none);
    tcase_add_test(tests, a_name_must_be_the_keys_own);
    suite_add_tcase(suite, tests);
    return suite;
}
