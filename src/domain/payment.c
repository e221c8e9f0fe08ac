/* SPDX-License-Identifier: ISC */
/* The table of the changes that a payment allows, and the rules about the keys that may make them. */
#include "depositd/payment.h"

#include <assert.h>
#include <string.h>

/* A payment that was only computed may fail as well: it is then not made at all, and its amount goes into the
 * next pay day. From failed nothing leads away. */
static const struct payment_transition transitions[] = {
    {PAYMENT_COMPUTED, CHANGE_RELEASE, PAYMENT_COMPUTED, KIND_NONE},
    {PAYMENT_COMPUTED, CHANGE_APPROVE, PAYMENT_APPROVED, KIND_NONE},
    {PAYMENT_COMPUTED, CHANGE_FAIL, PAYMENT_FAILED, KIND_PAYMENT_FAILED},
    {PAYMENT_APPROVED, CHANGE_INSTRUCT, PAYMENT_INSTRUCTED, KIND_NONE},
    {PAYMENT_APPROVED, CHANGE_CONFIRM, PAYMENT_CONFIRMED, KIND_PAYMENT_CONFIRMED},
    {PAYMENT_APPROVED, CHANGE_FAIL, PAYMENT_FAILED, KIND_PAYMENT_FAILED},
    {PAYMENT_INSTRUCTED, CHANGE_CONFIRM, PAYMENT_CONFIRMED, KIND_PAYMENT_CONFIRMED},
    {PAYMENT_INSTRUCTED, CHANGE_FAIL, PAYMENT_FAILED, KIND_PAYMENT_FAILED},
    {PAYMENT_CONFIRMED, CHANGE_FAIL, PAYMENT_FAILED, KIND_PAYMENT_FAILED},
};

static const char *const status_words[PAYMENT_STATUSES] = {
    [PAYMENT_COMPUTED] = "computed",   [PAYMENT_APPROVED] = "approved", [PAYMENT_INSTRUCTED] = "instructed",
    [PAYMENT_CONFIRMED] = "confirmed", [PAYMENT_FAILED] = "failed",
};
static const char *const change_words[PAYMENT_CHANGES] = {
    [CHANGE_RELEASE] = "release", [CHANGE_APPROVE] = "approve", [CHANGE_INSTRUCT] = "instruct",
    [CHANGE_CONFIRM] = "confirm", [CHANGE_FAIL] = "fail",
};

const struct payment_transition *payment_transitions(size_t *count)
{
    *count = sizeof transitions / sizeof transitions[0];
    return transitions;
}

const char *payment_status_word(enum payment_status status)
{
    assert((unsigned)status < PAYMENT_STATUSES);
    return status_words[status];
}

bool payment_status_parse(const char *word, enum payment_status *status)
{
    for (int i = 0; i < PAYMENT_STATUSES; i++)
        if (strcmp(word, status_words[i]) == 0) {
            *status = (enum payment_status)i;
            return true;
        }
    return false;
}

const char *payment_change_word(enum payment_change change)
{
    assert((unsigned)change < PAYMENT_CHANGES);
    return change_words[change];
}

static const struct payment_transition *transition_of(enum payment_status from, enum payment_change change)
{
    for (size_t i = 0; i < sizeof transitions / sizeof transitions[0]; i++)
        if (transitions[i].from == from && transitions[i].change == change)
            return &transitions[i];
    return NULL;
}

static bool has_done(const struct payment *payment, enum payment_change change, int32_t key)
{
    for (size_t i = 0; i < payment->act_count; i++)
        if (payment->acts[i].change == change && payment->acts[i].key == key)
            return true;
    return false;
}

static size_t count_approvals(const struct payment *payment)
{
    size_t count = 0;
    for (size_t i = 0; i < payment->act_count; i++)
        count += payment->acts[i].change == CHANGE_APPROVE;
    return count;
}

/* An approval that waits for another has not had its effect yet. */
static bool is_repeated(const struct payment *payment, enum payment_change change, int32_t key)
{
    return has_done(payment, change, key) &&
           !(change == CHANGE_APPROVE && payment->status == PAYMENT_COMPUTED);
}

/* Somebody may have made a key in the signer's name: until the signer has renewed its secret, it is not the
 * signer's. */
static bool is_signers(const struct payment *payment, struct key_act by, const struct key_origins *origins)
{
    int32_t signer = payment->signed_by;
    return signer > 0 && signer < origins->key_ids && key_is_its_holders(origins, by) &&
           origins->by_key[by.key].holder == origins->by_key[signer].holder;
}

static enum reason check_release(const struct payment *payment, struct key_act by,
                                 const struct key_origins *origins)
{
    if (payment->host != 0 && !payment->released && !is_signers(payment, by, origins))
        return REASON_SIGNER_NEEDED;
    if (!payment->held)
        return REASON_PAYMENT_NOT_HELD;
    return payment->released ? REASON_PAYMENT_STATE : REASON_NONE;
}

/* Whether one person may have done that before and be at it now. */
static bool same_person_has_done(const struct payment *payment, enum payment_change change, struct key_act by,
                                 const struct key_origins *origins)
{
    for (size_t i = 0; i < payment->act_count; i++) {
        const struct payment_act *act = &payment->acts[i];
        if (act->change == change && act->key != 0 &&
            key_acts_by_one_person(origins, (struct key_act){act->key, act->at}, by))
            return true;
    }
    return false;
}

static enum reason check_two_people(const struct payment *payment, struct key_act by,
                                    const struct key_origins *origins)
{
    bool by_clock = payment->closed_by == 0;
    struct key_act close = {payment->closed_by, payment->closed_at};
    if (!by_clock && key_acts_by_one_person(origins, close, by))
        return REASON_APPROVER_CLOSED_DAY;
    if (same_person_has_done(payment, CHANGE_APPROVE, by, origins))
        return REASON_SECOND_KEY_NEEDED;
    if (!by_clock && same_person_has_done(payment, CHANGE_RELEASE, by, origins))
        return REASON_SECOND_KEY_NEEDED;
    return REASON_NONE;
}

static enum reason check_approve(const struct payment *payment, struct key_act by,
                                 const struct key_origins *origins, struct payment_decision *decision)
{
    if (payment->held && !payment->released)
        return REASON_PAYMENT_HELD;
    if (!payment->dual_control)
        return REASON_NONE;
    enum reason reason = check_two_people(payment, by, origins);
    if (reason == REASON_NONE && payment->closed_by == 0 && count_approvals(payment) == 0)
        decision->to = PAYMENT_COMPUTED; /* until a second person approves it */
    return reason;
}

enum reason payment_decide(const struct payment *payment, enum payment_change change, struct key_act by,
                           const struct key_origins *origins, struct payment_decision *decision)
{
    const struct payment_transition *transition = transition_of(payment->status, change);
    *decision = (struct payment_decision){.to = payment->status};
    if (is_repeated(payment, change, by.key)) {
        decision->done_before = true;
        return REASON_NONE;
    }
    if (transition == NULL)
        return REASON_PAYMENT_STATE;
    decision->to = transition->to;
    decision->posts = transition->posts;
    switch (change) {
    case CHANGE_RELEASE:
        return check_release(payment, by, origins);
    case CHANGE_APPROVE:
        return check_approve(payment, by, origins, decision);
    case CHANGE_INSTRUCT:
        return payment->payer != 0 && payment->payee != 0 ? REASON_PAYMENT_DIRECT : REASON_NONE;
    case CHANGE_CONFIRM:
    case CHANGE_FAIL:
    case PAYMENT_CHANGES:
        break;
    }
    return REASON_NONE;
}
