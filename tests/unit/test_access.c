/* SPDX-License-Identifier: ISC */
/* The rule by which two acts count as one person's. The rule is the contract's; there is no published
 * source. */
#include "depositd/access.h"

#include "suite.h"

/* Holders. */
enum { ADA = 1, BO = 2, CLEO = 3 };
/* Keys, each made after its maker. BO_S_SECOND is Bo's and was renewed at 100. CLEO_S was renewed at 200, but
 * its maker BO_S never was. */
enum {
    ADA_S = 1,
    ADA_S_SECOND,
    BO_S,         /* made by ADA_S, never renewed */
    BO_S_SECOND,  /* made by ADA_S, renewed at 100 */
    CLEO_S,       /* made by BO_S, renewed at 200 */
    CLEO_S_FIRST, /* made by the command line */
    TAMPERED,     /* made by itself, says the row */
    NO_KEY,
    KEYS
};
#define NEVER INT64_MAX
#define BEFORE(key)                                                                                          \
    {                                                                                                        \
        key,                                                                                                 \
        {                                                                                                    \
            50                                                                                               \
        }                                                                                                    \
    }
#define AFTER(key)                                                                                           \
    {                                                                                                        \
        key,                                                                                                 \
        {                                                                                                    \
            300                                                                                              \
        }                                                                                                    \
    }

static const struct key_origin rows[KEYS] = {
    [ADA_S] = {ADA, 0, {NEVER}},
    [ADA_S_SECOND] = {ADA, 0, {NEVER}},
    [BO_S] = {BO, ADA_S, {NEVER}},
    [BO_S_SECOND] = {BO, ADA_S, {100}},
    [CLEO_S] = {CLEO, BO_S, {200}},
    [CLEO_S_FIRST] = {CLEO, 0, {NEVER}},
    [TAMPERED] = {CLEO, TAMPERED, {NEVER}},
};
static const struct key_origins origins = {rows, KEYS};

static const struct {
    const char *story;
    struct key_act a, b;
    bool one_person;
} cases[] = {
    {"a key and itself", AFTER(ADA_S), AFTER(ADA_S), true},
    {"two keys of one holder", AFTER(ADA_S), AFTER(ADA_S_SECOND), true},
    {"keys of two holders, neither made by the other", AFTER(ADA_S), AFTER(CLEO_S_FIRST), false},
    {"a key that is not renewed, and its maker", AFTER(BO_S), AFTER(ADA_S), true},
    {"… and another key of its maker's", AFTER(BO_S), AFTER(ADA_S_SECOND), true},
    {"a renewed key and its maker", AFTER(BO_S_SECOND), AFTER(ADA_S), false},
    {"what was done with it before it was renewed", BEFORE(BO_S_SECOND), AFTER(ADA_S), true},
    {"at the very instant of its renewal", {BO_S_SECOND, {100}}, AFTER(ADA_S), false},
    {"just before", {BO_S_SECOND, {99}}, AFTER(ADA_S), true},
    {"the maker's act before, the key's after", BEFORE(ADA_S), AFTER(BO_S_SECOND), false},
    {"the maker of the maker, while neither is renewed", BEFORE(CLEO_S), AFTER(ADA_S), true},
    {"… but not once the key itself is", AFTER(CLEO_S), AFTER(ADA_S), false},
    {"two keys of one maker, neither renewed", AFTER(BO_S), BEFORE(BO_S_SECOND), true},
    {"two keys of one maker, for two holders, neither renewed", BEFORE(CLEO_S), BEFORE(BO_S), true},
    {"one of two keys of one maker is renewed, and for another holder", AFTER(CLEO_S), AFTER(BO_S), false},
    {"a maker that is made later is none", AFTER(TAMPERED), AFTER(ADA_S), false},
    {"a key that there is not might be anybody's", AFTER(NO_KEY), AFTER(ADA_S), true},
    {"… or one that is not known yet", AFTER(KEYS + 5), AFTER(ADA_S), true},
    {"… or one of no number at all", AFTER(-1), AFTER(ADA_S), true},
};

START_TEST(who_may_have_done_both)
{
    ck_assert_msg(key_acts_by_one_person(&origins, cases[_i].a, cases[_i].b) == cases[_i].one_person, "%s",
                  cases[_i].story);
    ck_assert_msg(key_acts_by_one_person(&origins, cases[_i].b, cases[_i].a) == cases[_i].one_person,
                  "the other way round: %s", cases[_i].story);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("access");
    TCase *tests = tcase_create("access");
    tcase_add_loop_test(tests, who_may_have_done_both, 0, sizeof cases / sizeof cases[0]);
    suite_add_tcase(suite, tests);
    return suite;
}
