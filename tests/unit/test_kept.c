/* SPDX-License-Identifier: ISC */
/* The writer's copies stay within their bound, and those used last are kept. */
#include "app/posting/kept_scheme.h"
#include "suite.h"

enum { SCHEMES = 700, ACCOUNTS = 500, BYTES_MAX = 4 << 20 };

static struct ledger_state *state_of(struct kept_schemes *all, int32_t scheme, int64_t last_entry)
{
    const struct head_request request = {
        .scheme = scheme,
        .head = {.scheme = scheme, .last_entry = last_entry, .calendar_version = 1},
    };
    struct kept_scheme *kept = kept_scheme(all, scheme);
    ck_assert_ptr_nonnull(kept);
    return kept_state(kept, &request);
}

/* A batch that learns some balances, and is committed. */
static void use(struct kept_schemes *all, int32_t scheme)
{
    struct ledger_state *state = state_of(all, scheme, 7);
    for (int64_t account = 1; account <= ACCOUNTS; account++)
        ck_assert_int_eq(ledger_state_learn(state, account, 10 * account), STORE_OK);
    kept_state_confirm(kept_scheme(all, scheme));
    kept_measure(all, kept_scheme(all, scheme));
    kept_schemes_trim(all);
    ck_assert_uint_le(all->bytes, all->bytes_max);
}

static bool is_known(struct kept_schemes *all, int32_t scheme)
{
    uint32_t position;
    int64_t since;
    struct kept_scheme *kept = kept_scheme(all, scheme);
    bool known = kept_since(kept, &since) && since == 7;
    struct ledger_state *state = state_of(all, scheme, 7);
    bool found = ledger_state_find(state, ACCOUNTS, &position);
    ck_assert(known == found);
    ck_assert(!found || state->balances[position] == 10 * ACCOUNTS);
    kept_state_confirm(kept);
    return found;
}

START_TEST(copies_stay_within_the_bound)
{
    struct kept_schemes all = {.bytes_max = BYTES_MAX};
    for (int32_t scheme = 1; scheme <= SCHEMES; scheme++) {
        use(&all, scheme);
        use(&all, 1); /* often used, however many others there are */
    }
    ck_assert(is_known(&all, 1));
    ck_assert(is_known(&all, SCHEMES));
    ck_assert(!is_known(&all, 2));
    int kept = 0;
    for (int32_t scheme = SCHEMES; scheme > 2 && is_known(&all, scheme); scheme--)
        kept++;
    ck_assert_int_gt(kept, 50); /* of some 40 KiB each */
    ck_assert_int_lt(kept, SCHEMES - 100);
    kept_schemes_dispose(&all);
}
END_TEST

START_TEST(a_copy_that_was_forgotten_is_made_anew)
{
    struct kept_schemes all = {.bytes_max = 1000}; /* less than one copy takes */
    use(&all, 3);
    ck_assert(!is_known(&all, 3));
    all.bytes_max = BYTES_MAX;
    use(&all, 3);
    ck_assert(is_known(&all, 3));
    kept_schemes_dispose(&all);
}
END_TEST

START_TEST(without_a_bound_nothing_is_forgotten)
{
    struct kept_schemes all = {0};
    for (int32_t scheme = 1; scheme <= SCHEMES; scheme++) {
        struct ledger_state *state = state_of(&all, scheme, 7);
        ck_assert_int_eq(ledger_state_learn(state, ACCOUNTS, 10 * ACCOUNTS), STORE_OK);
        kept_state_confirm(kept_scheme(&all, scheme));
        kept_measure(&all, kept_scheme(&all, scheme));
        kept_schemes_trim(&all);
    }
    for (int32_t scheme = 1; scheme <= SCHEMES; scheme++)
        ck_assert(is_known(&all, scheme));
    kept_schemes_dispose(&all);
}
END_TEST

/* A dry run, or a batch that failed, leaves copies as well. */
START_TEST(copies_of_batches_that_were_not_committed_count)
{
    struct kept_schemes all = {.bytes_max = BYTES_MAX};
    for (int32_t scheme = 1; scheme <= SCHEMES; scheme++) {
        struct ledger_state *state = state_of(&all, scheme, 7);
        for (int64_t account = 1; account <= ACCOUNTS; account++)
            ck_assert_int_eq(ledger_state_learn(state, account, 10 * account), STORE_OK);
        kept_measure(&all, kept_scheme(&all, scheme));
    }
    ck_assert_uint_gt(all.bytes, BYTES_MAX);
    kept_schemes_trim(&all);
    ck_assert_uint_lt(all.bytes, BYTES_MAX);
    kept_schemes_dispose(&all);
}
END_TEST

START_TEST(the_state_at_another_head_is_not_used)
{
    uint32_t position;
    struct kept_schemes all = {.bytes_max = BYTES_MAX};
    use(&all, 5);
    ck_assert(!ledger_state_find(state_of(&all, 5, 8), 1, &position)); /* others have posted */
    ck_assert(!is_known(&all, 5));                                     /* and it was not confirmed */
    kept_schemes_dispose(&all);
}
END_TEST

START_TEST(after_a_wait_in_vain_there_is_none_until_the_head_was_had)
{
    struct kept_schemes all = {0};
    struct kept_scheme *kept = kept_scheme(&all, 9);
    ck_assert(kept_may_wait(kept));
    kept_note_waited_in_vain(kept, 100);
    kept_note_held(kept, true);
    ck_assert(!kept_may_wait(kept) && kept_is_held(kept));
    kept_note_held(kept, false);
    ck_assert(kept_may_wait(kept) && !kept_is_held(kept));
    kept_schemes_dispose(&all);
}
END_TEST

START_TEST(a_scheme_is_alone_when_the_others_were_quiet_for_a_while)
{
    enum { LONG_MS = 60000 };
    struct kept_schemes all = {0};
    ck_assert(!kept_others_have_events(&all, 1));
    kept_note_events(&all, 1);
    kept_note_events(&all, 1);
    ck_assert(!kept_others_have_events(&all, 1) && kept_others_have_events(&all, 2));
    kept_note_events(&all, 2);
    ck_assert(kept_others_have_events(&all, 1) && kept_others_have_events(&all, 2));
    all.other_ms -= LONG_MS;
    ck_assert(kept_others_have_events(&all, 1) && !kept_others_have_events(&all, 2));
    kept_schemes_dispose(&all);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("kept");
    TCase *tests = tcase_create("copies");
    tcase_add_test(tests, copies_stay_within_the_bound);
    tcase_add_test(tests, a_copy_that_was_forgotten_is_made_anew);
    tcase_add_test(tests, without_a_bound_nothing_is_forgotten);
    tcase_add_test(tests, copies_of_batches_that_were_not_committed_count);
    tcase_add_test(tests, the_state_at_another_head_is_not_used);
    tcase_add_test(tests, after_a_wait_in_vain_there_is_none_until_the_head_was_had);
    tcase_add_test(tests, a_scheme_is_alone_when_the_others_were_quiet_for_a_while);
    suite_add_tcase(suite, tests);
    return suite;
}
