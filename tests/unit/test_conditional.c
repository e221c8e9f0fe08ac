/* SPDX-License-Identifier: ISC */
/* If-None-Match of RFC 9110: the comparison of section 8.8.3.2, the list of section 13.1.2. */
#include "http/request/conditional.h"

#include "suite.h"

static const struct {
    const char *value, *etag;
    bool listed;
} cases[] = {
    /* The rows of the table of section 8.8.3.2 in which the service's own tag is strong. */
    {"W/\"1\"", "\"1\"", true},
    {"\"1\"", "\"1\"", true},
    {"W/\"2\"", "\"1\"", false},
    {"\"2\"", "\"1\"", false},
    /* Section 13.1.2: its examples. */
    {"\"xyzzy\"", "\"xyzzy\"", true},
    {"W/\"xyzzy\"", "\"xyzzy\"", true},
    {"\"xyzzy\", \"r2d2xxxx\", \"c3piozzzz\"", "\"c3piozzzz\"", true},
    {"W/\"xyzzy\", W/\"r2d2xxxx\", W/\"c3piozzzz\"", "\"r2d2xxxx\"", true},
    {"*", "\"1\"", true},
    {" * ", "\"1\"", true},
    /* Section 5.6.1.2: empty elements are to be ignored. */
    {",\"0\",, \"1\"", "\"1\"", true},
    {"\"0\"\t,\t\"1\" ", "\"1\"", true},
    /* Section 8.8.3: a tag may hold a comma, a blank, and W/. */
    {"\"a, b\", \"1\"", "\"1\"", true},
    {"\"a, \"1\"", "\"1\"", false},
    {"\"W/\"", "\"W/\"", true},
    /* A part of a tag is another tag, and a malformed tag is none. */
    {"\"12\"", "\"1\"", false},
    {"\"\"", "\"1\"", false},
    {"1", "\"1\"", false},
    {"\"1", "\"1\"", false},
    {"w/\"1\"", "\"1\"", false},
    {"W/W/\"1\"", "\"1\"", false},
    {"*, \"1\"", "\"1\"", false},
    {"", "\"1\"", false},
};

START_TEST(tags_are_compared_weakly)
{
    ck_assert_msg(etag_is_listed(cases[_i].value, cases[_i].etag) == cases[_i].listed, "case %d: %s", _i,
                  cases[_i].value);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("conditional");
    TCase *tests = tcase_create("conditional");
    tcase_add_loop_test(tests, tags_are_compared_weakly, 0, (int)(sizeof cases / sizeof cases[0]));
    suite_add_tcase(suite, tests);
    return suite;
}
