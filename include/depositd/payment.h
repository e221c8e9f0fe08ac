/* SPDX-License-Identifier: ISC */
/* The life of a payment after the close: its states, the changes that each state allows, and the keys that
 * may make them.
 *
 * The figures that the close fixed never change. Pure; any thread. */
#ifndef DEPOSITD_PAYMENT_H
#define DEPOSITD_PAYMENT_H

#include "depositd/access.h"

enum payment_status {
    PAYMENT_COMPUTED,   /* by the close; nobody has agreed to it yet */
    PAYMENT_APPROVED,   /* it may leave */
    PAYMENT_INSTRUCTED, /* it is in a file for the bank */
    PAYMENT_CONFIRMED,  /* the money has moved */
    PAYMENT_FAILED,     /* it has not, or has come back: arrears, which the next pay day settles */
    PAYMENT_STATUSES
};

enum payment_change {
    CHANGE_RELEASE, /* lets a held payment go */
    CHANGE_APPROVE,
    CHANGE_INSTRUCT,
    CHANGE_CONFIRM,
    CHANGE_FAIL,
    PAYMENT_CHANGES
};

/* A change that a state allows, and the state that it leads to. */
struct payment_transition {
    enum payment_status from;
    enum payment_change change;
    enum payment_status to;
    enum entry_kind posts; /* KIND_NONE: no entry */
};

const struct payment_transition *payment_transitions(size_t *count);

/* The words by which both are stored and shown. */
const char *payment_status_word(enum payment_status status);
MUST_CHECK bool payment_status_parse(const char *word, enum payment_status *status);
const char *payment_change_word(enum payment_change change);

/* Something that was done to it already. */
struct payment_act {
    enum payment_change change;
    int32_t key; /* whose; 0: the service's */
    struct instant at;
};

struct payment {
    enum payment_status status;
    bool held;            /* by the close … */
    bool released;        /* … and let go since */
    int32_t payer, payee; /* participants' ids; 0: the pool */
    struct money amount;
    bool dual_control; /* of its day, since the cut */
    int32_t closed_by; /* the key that closed its day; 0: the service, by the clock */
    struct instant closed_at;
    int32_t host; /* another scheme, whose pool is paid; 0: none. Then there is no payer and no payee, and: */
    bool in_own_currency; /* it is instructed in the currency of the books */
    struct money agreed;  /* as it is instructed */
    int32_t signed_by;    /* the key that signed the agreement for the scheme; only its holder releases it. 0:
                             nobody */
    const struct payment_act *acts;
    size_t act_count;
};

struct payment_decision {
    bool done_before; /* by the same key: nothing is left to do */
    enum payment_status to;
    enum entry_kind posts;
};

/* Whether this key may make this change of the payment at this instant, and the outcome. An act that the key
 * has done already, and that has had its effect, is no fault: a client that lost the answer may ask again.
 * PAYMENT_STATE, PAYMENT_HELD, PAYMENT_NOT_HELD, PAYMENT_DIRECT, SIGNER_NEEDED; under dual control
 * APPROVER_CLOSED_DAY and SECOND_KEY_NEEDED.
 *
 * Dual control: a payment leaves when a person has approved it who neither closed its day nor released it;
 * where the service closed the day by the clock, when two persons have approved it. */
MUST_CHECK enum reason payment_decide(const struct payment *payment, enum payment_change change,
                                      struct key_act by, const struct key_origins *origins,
                                      struct payment_decision *decision);

#endif
