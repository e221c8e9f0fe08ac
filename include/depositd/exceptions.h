/* SPDX-License-Identifier: ISC */
/* Exceptions: recorded facts that a person should look at. An event at the counter is never refused because
 * of its consequences; it is listed here instead. Pure; any thread. */
#ifndef DEPOSITD_EXCEPTIONS_H
#define DEPOSITD_EXCEPTIONS_H

#include "depositd/posting.h"

/* X(name, word, its text) */
#define EXCEPTION_TABLE(X)                                                                                   \
    X(LATE, late, "it posted to a later day, its own was closed")                                            \
    X(SITE_CLOSED, site_closed, "it occurred after the site's last day")                                     \
    X(OFF_TARIFF, off_tariff, "the till amount is not the tariff; amount is the difference")                 \
    X(LATE_TARIFF, late_tariff,                                                                              \
      "late: its tariff is not the value of the posting day; amount is the difference")                      \
    X(NO_TARIFF, no_tariff, "the cup type had no value yet on that day; the posting day's is the tariff")    \
    X(NEGATIVE_STOCK, negative_stock, "the site's book is below zero; quantity is the book")                 \
    X(OVER_RETURNED, over_returned, "more cups came back than are out; quantity is the number that is out")  \
    X(RECEIPT_OVER, receipt_over, "more arrived than was on the road; quantity is the surplus")              \
    X(RECEIPT_ELSEWHERE, receipt_elsewhere, "it arrived at another site than the one it was sent to")        \
    X(RECEIPT_SHORT, receipt_short, "part of the dispatch is still missing; quantity is that part")          \
    X(LOSS_OVER, loss_over, "more was lost than was on the road; quantity is the surplus")                   \
    X(BEYOND_VISITING, beyond_visiting,                                                                      \
      "more cups of another scheme left than visit; quantity is how many of these")                                \
    X(COUNT_OFF, count_off, "the count is off by more than the tolerance; quantity is counted less book")    \
    X(TAKEN_OUT_BEYOND, taken_out_beyond,                                                                    \
      "the operator took out more than was free for it; amount is the excess, and two people resolve it")    \
    X(CUP_NOT_OUT, cup_not_out, "a named cup came back that was not with a customer")                        \
    X(CUP_ISSUED_ELSEWHERE, cup_issued_elsewhere,                                                            \
      "a named cup was issued that was out, or at another place")                                            \
    X(CUP_ELSEWHERE, cup_elsewhere, "a named cup was counted at, or left, another place than it was at")     \
    X(CUP_SUPPLIED_TWICE, cup_supplied_twice, "a named cup was supplied that had been supplied before")      \
    X(CUP_AFTER_END, cup_after_end, "a named cup was seen after it was retired or lost")                     \
    X(CUP_OTHER_TYPE, cup_other_type, "the identity of a named cup is of another type than its line")        \
    X(CUP_TWICE, cup_twice, "a cup is named twice in one event")                                             \
    X(CUP_NEVER_SUPPLIED, cup_never_supplied,                                                                \
      "a named cup was never supplied, nor were as many cups of its type without identity")                  \
    X(HOME_DIFFERS, home_differs, "a named cup was last issued in another scheme than its line says")        \
    X(VISITOR_ISSUED, visitor_issued, "a named cup was issued that visits from another scheme")

enum exception_kind {
#define X(name, word, meaning) EXCEPTION_##name,
    EXCEPTION_TABLE(X)
#undef X
        EXCEPTION_KINDS
};

struct exception {
    enum exception_kind kind;
    int32_t cup_type; /* 0: none */
    bool has_quantity;
    int64_t quantity;
    bool has_amount;
    struct money amount;
};

/* The open part of a dispatch, for one cup type and condition: before a receipt or a loss, after a reversal
 * of one. */
struct transfer_open {
    int32_t cup_type;
    bool damaged;
    int64_t sent, received, lost;
};

struct exception_facts {
    const struct posting_facts *posting;
    const struct leg *legs;
    const int64_t *balances_after; /* of each leg's account, parallel to legs; only read for cup accounts */
    size_t leg_count;
    bool late;
    bool site_closed;
    bool amount_stated;
    struct money off_tariff;  /* stated less tariff, money into the till positive */
    struct money late_tariff; /* tariff less the value of the posting day, likewise */
    struct cups count_tolerance;
    bool received_elsewhere;
    const struct transfer_open
        *transfer; /* of the dispatch of a receipt or a loss, or of a reversal of one */
    size_t transfer_count;
};

const char *exception_word(enum exception_kind kind);
/* Whether two people resolve an exception of this kind. */
bool exception_takes_two(enum exception_kind kind);

/* How much of the money that the operator took out was not free for it before; zero: all of it was. */
struct money exception_taken_beyond(struct money taken, struct money free_before);

/* Writes the exceptions to `found`, which has room for exceptions_max(); returns how many. */
size_t exceptions_find(const struct exception_facts *facts, struct exception *found);
size_t exceptions_max(size_t line_count, size_t leg_count, size_t transfer_count);

#endif
