/* SPDX-License-Identifier: ISC */
/* The life of a payment: every transition of the table against the contract's own list, every other change in
 * every state, and the people who may make it. There is no published source. Dual control is common practice
 * in payment offices; its rules here are the contract's. */
#include "depositd/payment.h"

#include "suite.h"

#include <stdlib.h>
#include <string.h>

/* Keys. ANN_TOO is another key of Ann's. CLOSER made CY for Cy, who renewed it at RENEWED. ANN made DI for
 * Di, who has not renewed it. */
enum { CLOSER = 1, ANN = 2, BEN = 3, ANN_TOO = 4, CY = 5, DI = 6, KEYS };
enum { NOW = 1000, RENEWED = 500 };
static const struct key_origin origin_rows[KEYS] = {
    [CLOSER] = {1, 0, {INT64_MAX}},  [ANN] = {2, 0, {INT64_MAX}},   [BEN] = {3, 0, {INT64_MAX}},
    [ANN_TOO] = {2, 0, {INT64_MAX}}, [CY] = {4, CLOSER, {RENEWED}}, [DI] = {5, ANN, {INT64_MAX}},
};
static const struct key_origins origins = {origin_rows, KEYS};

static enum reason decide(const struct payment *payment, enum payment_change change, int32_t key,
                          struct payment_decision *decision)
{
    return payment_decide(payment, change, (struct key_act){key, {NOW}}, &origins, decision);
}

/* State, change, next state. Any other change is refused. */
static const struct {
    const char *from, *change, *to, *posts;
} allowed[] = {
    {"computed", "release", "computed", NULL}, /* of a held payment */
    {"computed", "approve", "approved", NULL},
    {"computed", "fail", "failed", "payment_failed"},
    {"approved", "instruct", "instructed", NULL},
    {"approved", "confirm", "confirmed", "payment_confirmed"},
    {"approved", "fail", "failed", "payment_failed"},
    {"instructed", "confirm", "confirmed", "payment_confirmed"},
    {"instructed", "fail", "failed", "payment_failed"},
    {"confirmed", "fail", "failed", "payment_failed"},
};
enum { ALLOWED = sizeof allowed / sizeof allowed[0] };

static int index_of(enum payment_status from, enum payment_change change)
{
    for (int i = 0; i < ALLOWED; i++)
        if (strcmp(allowed[i].from, payment_status_word(from)) == 0 &&
            strcmp(allowed[i].change, payment_change_word(change)) == 0)
            return i;
    return -1;
}

START_TEST(each_change_in_each_state)
{
    size_t count;
    payment_transitions(&count);
    ck_assert_uint_eq(count, ALLOWED);
    for (int from = 0; from < PAYMENT_STATUSES; from++)
        for (int change = 0; change < PAYMENT_CHANGES; change++) {
            struct payment payment = {
                .status = (enum payment_status)from, .held = change == CHANGE_RELEASE, .payer = 7};
            struct payment_decision decision;
            enum reason reason = decide(&payment, (enum payment_change)change, ANN, &decision);
            int i = index_of((enum payment_status)from, (enum payment_change)change);
            ck_assert_int_eq(reason, i >= 0 ? REASON_NONE : REASON_PAYMENT_STATE);
            if (i < 0)
                continue;
            ck_assert_str_eq(payment_status_word(decision.to), allowed[i].to);
            ck_assert(!decision.done_before);
            ck_assert_pstr_eq(entry_kind_word(decision.posts), allowed[i].posts);
        }
}
END_TEST

START_TEST(words_are_read_back)
{
    enum payment_status status;
    for (int i = 0; i < PAYMENT_STATUSES; i++) {
        ck_assert(payment_status_parse(payment_status_word((enum payment_status)i), &status));
        ck_assert_int_eq(status, i);
    }
    ck_assert(!payment_status_parse("", &status) && !payment_status_parse("paid", &status));
}
END_TEST

struct rule {
    const char *story;
    struct payment payment;
    struct payment_act acts[3];
    enum payment_change change;
    int32_t key;
    enum reason reason;
    enum payment_status to;
    bool done_before;
};

#define HELD     .status = PAYMENT_COMPUTED, .held = true, .payee = 7
#define RELEASED HELD, .released = true
#define DUAL     .dual_control = true, .closed_by = CLOSER
#define BY_CLOCK .dual_control = true
#define ACTED(n) .act_count = n

static const struct rule rules[] = {
    {"held: not to be approved", {HELD}, {{0}}, CHANGE_APPROVE, ANN, REASON_PAYMENT_HELD, 0, false},
    {"held: released", {HELD}, {{0}}, CHANGE_RELEASE, ANN, REASON_NONE, PAYMENT_COMPUTED, false},
    {"held: may fail", {HELD}, {{0}}, CHANGE_FAIL, ANN, REASON_NONE, PAYMENT_FAILED, false},
    {"held: instructed is further on", {HELD}, {{0}}, CHANGE_INSTRUCT, ANN, REASON_PAYMENT_STATE, 0, false},
    {"released: approved", {RELEASED}, {{0}}, CHANGE_APPROVE, ANN, REASON_NONE, PAYMENT_APPROVED, false},
    {"not held: nothing to release",
     {.payee = 7},
     {{0}},
     CHANGE_RELEASE,
     ANN,
     REASON_PAYMENT_NOT_HELD,
     0,
     false},
    {"released by another",
     {RELEASED, ACTED(1)},
     {{CHANGE_RELEASE, BEN, {0}}},
     CHANGE_RELEASE,
     ANN,
     REASON_PAYMENT_STATE,
     0,
     false},
    {"released by the same: again is fine",
     {RELEASED, ACTED(1)},
     {{CHANGE_RELEASE, ANN, {0}}},
     CHANGE_RELEASE,
     ANN,
     REASON_NONE,
     PAYMENT_COMPUTED,
     true},
    {"between participants: in no file",
     {.status = PAYMENT_APPROVED, .payer = 7, .payee = 8},
     {{0}},
     CHANGE_INSTRUCT,
     ANN,
     REASON_PAYMENT_DIRECT,
     0,
     false},
    {"between participants: confirmed by hand",
     {.status = PAYMENT_APPROVED, .payer = 7, .payee = 8},
     {{0}},
     CHANGE_CONFIRM,
     ANN,
     REASON_NONE,
     PAYMENT_CONFIRMED,
     false},
    {"approved by another",
     {.status = PAYMENT_APPROVED, .payee = 7, ACTED(1)},
     {{CHANGE_APPROVE, BEN, {0}}},
     CHANGE_APPROVE,
     ANN,
     REASON_PAYMENT_STATE,
     0,
     false},
    {"approved by the same: again is fine",
     {.status = PAYMENT_APPROVED, .payee = 7, ACTED(1)},
     {{CHANGE_APPROVE, ANN, {0}}},
     CHANGE_APPROVE,
     ANN,
     REASON_NONE,
     PAYMENT_APPROVED,
     true},
    {"approved by the same, and confirmed since",
     {.status = PAYMENT_CONFIRMED, .payee = 7, ACTED(2)},
     {{CHANGE_APPROVE, ANN, {0}}, {CHANGE_CONFIRM, BEN, {0}}},
     CHANGE_APPROVE,
     ANN,
     REASON_NONE,
     PAYMENT_CONFIRMED,
     true},
    {"failed by the same: again is fine",
     {.status = PAYMENT_FAILED, .payee = 7, ACTED(1)},
     {{CHANGE_FAIL, ANN, {0}}},
     CHANGE_FAIL,
     ANN,
     REASON_NONE,
     PAYMENT_FAILED,
     true},
    {"failed by another",
     {.status = PAYMENT_FAILED, .payee = 7, ACTED(1)},
     {{CHANGE_FAIL, BEN, {0}}},
     CHANGE_FAIL,
     ANN,
     REASON_PAYMENT_STATE,
     0,
     false},
    {"who closed may approve without dual control",
     {.closed_by = CLOSER, .payee = 7},
     {{0}},
     CHANGE_APPROVE,
     CLOSER,
     REASON_NONE,
     PAYMENT_APPROVED,
     false},
    {"dual: who closed may not", {DUAL}, {{0}}, CHANGE_APPROVE, CLOSER, REASON_APPROVER_CLOSED_DAY, 0, false},
    {"dual: another may, alone", {DUAL}, {{0}}, CHANGE_APPROVE, ANN, REASON_NONE, PAYMENT_APPROVED, false},
    {"dual: who released may not approve alone",
     {RELEASED, DUAL, ACTED(1)},
     {{CHANGE_RELEASE, ANN, {0}}},
     CHANGE_APPROVE,
     ANN,
     REASON_SECOND_KEY_NEEDED,
     0,
     false},
    {"dual: who closed may release",
     {HELD, DUAL},
     {{0}},
     CHANGE_RELEASE,
     CLOSER,
     REASON_NONE,
     PAYMENT_COMPUTED,
     false},
    {"dual: released by one, approved by another",
     {RELEASED, DUAL, ACTED(1)},
     {{CHANGE_RELEASE, BEN, {0}}},
     CHANGE_APPROVE,
     ANN,
     REASON_NONE,
     PAYMENT_APPROVED,
     false},
    {"by the clock: the first approval waits",
     {BY_CLOCK},
     {{0}},
     CHANGE_APPROVE,
     ANN,
     REASON_NONE,
     PAYMENT_COMPUTED,
     false},
    {"by the clock: not twice the same",
     {BY_CLOCK, ACTED(1)},
     {{CHANGE_APPROVE, ANN, {0}}},
     CHANGE_APPROVE,
     ANN,
     REASON_SECOND_KEY_NEEDED,
     0,
     false},
    {"by the clock: the second",
     {BY_CLOCK, ACTED(1)},
     {{CHANGE_APPROVE, ANN, {0}}},
     CHANGE_APPROVE,
     BEN,
     REASON_NONE,
     PAYMENT_APPROVED,
     false},
    {"by the clock: who released may be one of the two",
     {RELEASED, BY_CLOCK, ACTED(2)},
     {{CHANGE_RELEASE, ANN, {0}}, {CHANGE_APPROVE, BEN, {0}}},
     CHANGE_APPROVE,
     ANN,
     REASON_NONE,
     PAYMENT_APPROVED,
     false},
    {"by the clock, both approved: again is fine",
     {.status = PAYMENT_APPROVED, BY_CLOCK, ACTED(2)},
     {{CHANGE_APPROVE, ANN, {0}}, {CHANGE_APPROVE, BEN, {0}}},
     CHANGE_APPROVE,
     ANN,
     REASON_NONE,
     PAYMENT_APPROVED,
     true},
    {"dual: the key that the closer made is another's since it was renewed",
     {DUAL, .closed_at = {RENEWED - 1}},
     {{0}},
     CHANGE_APPROVE,
     CY,
     REASON_NONE,
     PAYMENT_APPROVED,
     false},
    {"dual: before it was renewed, who closed may have released with it",
     {RELEASED, .dual_control = true, .closed_by = BEN, ACTED(1)},
     {{CHANGE_RELEASE, CY, {RENEWED - 1}}},
     CHANGE_APPROVE,
     CLOSER,
     REASON_SECOND_KEY_NEEDED,
     0,
     false},
    {"dual: since then not",
     {RELEASED, .dual_control = true, .closed_by = BEN, ACTED(1)},
     {{CHANGE_RELEASE, CY, {RENEWED}}},
     CHANGE_APPROVE,
     CLOSER,
     REASON_NONE,
     PAYMENT_APPROVED,
     false},
    {"dual: who made the key that closed",
     {.dual_control = true, .closed_by = DI},
     {{0}},
     CHANGE_APPROVE,
     ANN,
     REASON_APPROVER_CLOSED_DAY,
     0,
     false},
    {"dual: another key of who made the key that closed",
     {.dual_control = true, .closed_by = DI},
     {{0}},
     CHANGE_APPROVE,
     ANN_TOO,
     REASON_APPROVER_CLOSED_DAY,
     0,
     false},
    {"dual: another key of who released",
     {RELEASED, DUAL, ACTED(1)},
     {{CHANGE_RELEASE, ANN_TOO, {0}}},
     CHANGE_APPROVE,
     ANN,
     REASON_SECOND_KEY_NEEDED,
     0,
     false},
    {"by the clock: two keys of one holder are one person",
     {BY_CLOCK, ACTED(1)},
     {{CHANGE_APPROVE, ANN, {0}}},
     CHANGE_APPROVE,
     ANN_TOO,
     REASON_SECOND_KEY_NEEDED,
     0,
     false},
    {"by the clock: a key that is not renewed is also its maker's",
     {BY_CLOCK, ACTED(1)},
     {{CHANGE_APPROVE, DI, {0}}},
     CHANGE_APPROVE,
     ANN,
     REASON_SECOND_KEY_NEEDED,
     0,
     false},
    {"dual control is of approving only",
     {.status = PAYMENT_APPROVED, DUAL, ACTED(1)},
     {{CHANGE_APPROVE, ANN, {0}}},
     CHANGE_CONFIRM,
     ANN,
     REASON_NONE,
     PAYMENT_CONFIRMED,
     false},
};
enum { RULES = sizeof rules / sizeof rules[0] };

START_TEST(each_rule_of_who_may)
{
    const struct rule *rule = &rules[_i];
    struct payment payment = rule->payment;
    struct payment_decision decision;
    payment.acts = rule->acts;
    enum reason reason = decide(&payment, rule->change, rule->key, &decision);
    ck_assert_msg(reason == rule->reason, "%s: %s", rule->story,
                  reason != REASON_NONE ? reason_info(reason)->code : "no reason");
    if (reason != REASON_NONE)
        return;
    ck_assert_msg(decision.to == rule->to, "%s: %s", rule->story, payment_status_word(decision.to));
    ck_assert_msg(decision.done_before == rule->done_before, "%s", rule->story);
    ck_assert_msg(!decision.done_before || decision.posts == KIND_NONE, "%s", rule->story);
}
END_TEST

/* Ann holds the keys 1, 3 and 4, Ben key 2. Ann signed with key 1. Ben made key 4, whose secret Ann renews later. */
START_TEST(only_the_signer_releases_a_payment_to_another_pool)
{
    static const struct key_origin by_key[] = {
        {0}, {1, 0, {INT64_MAX}}, {2, 0, {INT64_MAX}}, {1, 0, {INT64_MAX}}, {1, 2, {5}}};
    const struct key_origins of_keys = {by_key, 5};
    struct payment payment = {.status = PAYMENT_COMPUTED, .held = true, .host = 7, .signed_by = 1};
    struct payment_decision decision;
    const struct instant at = {1};
    ck_assert_int_eq(payment_decide(&payment, CHANGE_RELEASE, (struct key_act){2, at}, &of_keys, &decision),
                     REASON_SIGNER_NEEDED);
    ck_assert_int_eq(payment_decide(&payment, CHANGE_RELEASE, (struct key_act){1, at}, &of_keys, &decision),
                     REASON_NONE);
    ck_assert_int_eq(payment_decide(&payment, CHANGE_RELEASE, (struct key_act){3, at}, &of_keys, &decision),
                     REASON_NONE);
    ck_assert_int_eq(payment_decide(&payment, CHANGE_RELEASE, (struct key_act){4, at}, &of_keys, &decision),
                     REASON_SIGNER_NEEDED);
    ck_assert_int_eq(payment_decide(&payment, CHANGE_RELEASE, (struct key_act){4, {5}}, &of_keys, &decision),
                     REASON_NONE);
    ck_assert_int_eq(payment_decide(&payment, CHANGE_RELEASE, (struct key_act){9, at}, &of_keys, &decision),
                     REASON_SIGNER_NEEDED);
    payment.signed_by = 0;
    ck_assert_int_eq(payment_decide(&payment, CHANGE_RELEASE, (struct key_act){1, at}, &of_keys, &decision),
                     REASON_SIGNER_NEEDED);
    payment.host = 0;
    ck_assert_int_eq(payment_decide(&payment, CHANGE_RELEASE, (struct key_act){2, at}, &of_keys, &decision),
                     REASON_NONE);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("payment");
    TCase *tests = tcase_create("payment");
    tcase_add_test(tests, each_change_in_each_state);
    tcase_add_test(tests, words_are_read_back);
    tcase_add_loop_test(tests, each_rule_of_who_may, 0, RULES);
    tcase_add_test(tests, only_the_signer_releases_a_payment_to_another_pool);
    suite_add_tcase(suite, tests);
    return suite;
}
