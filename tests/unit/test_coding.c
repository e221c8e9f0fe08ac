/* SPDX-License-Identifier: ISC */
/* Accept-Encoding of RFC 9110 section 12.5.3, and the entity tags of coded answers. */
#include "http/request/coding.h"

#include "suite.h"

static const struct {
    const char *value;
    bool identity, gzip;
} cases[] = {
    /* Rule 1: without the field any coding is acceptable; none is the simplest. An empty value means none. */
    {NULL, true, false},
    {"", true, false},
    /* The examples of the section. */
    {"compress, gzip", true, true},
    {"*", true, true},
    {"compress;q=0.5, gzip;q=1.0", true, true},
    {"gzip;q=1.0, identity; q=0.5, *;q=0", true, true},
    /* Rule 2: no coding is acceptable, unless identity;q=0 or *;q=0 excludes it. */
    {"br", true, false},
    {"identity;q=0", false, false},
    {"*;q=0", false, false},
    {"gzip, *;q=0", false, true},
    {"gzip, identity;q=0", false, true},
    {"*;q=0, identity;q=0.1", true, false},
    {"br, identity;q=0.000", false, false},
    /* Rule 3: a listed coding is acceptable, unless its quality is 0. */
    {"gzip;q=0", true, false},
    {"gzip;q=0, *", true, false},
    {"*;q=0.5, gzip;q=0", true, false},
    {"gzip;q=0, identity;q=0", false, false},
    /* The highest quality is preferred. */
    {"gzip;q=0.5, identity", true, false},
    {"gzip;q=0.5, identity;q=0.5", true, true},
    {"identity;q=0.9, gzip;q=0.91", true, true},
    {"*;q=0.8, gzip;q=0.3", true, false},
    /* Section 8.4.1: names are in any case, and x-gzip is gzip (8.4.1.3). */
    {"GZip", true, true},
    {"x-gzip", true, true},
    {"x-gzip;q=1, gzip;q=0", true, false},
    {"gzipped, gzi", true, false},
    /* Lists with empty elements (5.6.1.2), blanks and parameters. */
    {" ,, gzip ;q=1 ,", true, true},
    {"deflate\t,\tgzip", true, true},
    {"gzip;level=9;q=0", true, false},
    {"gzip;Q=0", true, false},
    /* Malformed qualities count as 0. */
    {"gzip;q=", true, false},
    {"gzip;q=x", true, false},
    {"gzip;q=-1", true, false},
};

START_TEST(codings_are_read)
{
    struct codings codings = codings_read(cases[_i].value);
    ck_assert_msg(codings.identity == cases[_i].identity && codings.gzip == cases[_i].gzip,
                  "case %d: %s: identity %d, gzip %d", _i, cases[_i].value, codings.identity, codings.gzip);
}
END_TEST

static const struct {
    const char *tags, *plain;
} conditions[] = {
    {"\"1\"", "\"1\""},
    {"\"1-gzip\"", "\"1\""},
    {"W/\"1-gzip\", \"2\", \"3-gzip\"", "W/\"1\", \"2\", \"3\""},
    {"*", "*"},
    {"", ""},
    {"\"-gzip\"", "\"\""},
    {"\"gzip\"", "\"gzip\""},
    {"\"1-gzip-gzip\"", "\"1-gzip\""},
    {"\"1-gzip", "\"1-gzip"},
};

START_TEST(tags_become_plain)
{
    struct arena arena;
    arena_init(&arena, 1 << 16);
    ck_assert_str_eq(coding_plain_tags(&arena, conditions[_i].tags), conditions[_i].plain);
    arena_dispose(&arena);
}
END_TEST

START_TEST(a_tag_is_marked)
{
    struct arena arena;
    arena_init(&arena, 1 << 16);
    ck_assert_str_eq(coding_tag(&arena, "\"abc\""), "\"abc-gzip\"");
    ck_assert_str_eq(coding_plain_tags(&arena, coding_tag(&arena, "\"abc\"")), "\"abc\"");
    ck_assert_ptr_null(coding_plain_tags(&arena, NULL));
    arena_dispose(&arena);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("coding");
    TCase *tests = tcase_create("coding");
    tcase_add_loop_test(tests, codings_are_read, 0, (int)(sizeof cases / sizeof cases[0]));
    tcase_add_loop_test(tests, tags_become_plain, 0, (int)(sizeof conditions / sizeof conditions[0]));
    tcase_add_test(tests, a_tag_is_marked);
    suite_add_tcase(suite, tests);
    return suite;
}
