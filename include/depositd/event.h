/* SPDX-License-Identifier: ISC */
/* What happened, as a POS terminal or an accountant states it, and the kinds of entry that the ledger holds.
 *
 * An event names things by their codes; nothing is looked up here. Its strings and lists are borrowed from
 * the request's arena. Stored numbers (kinds, tenders, bearers) never change their meaning. */
#ifndef DEPOSITD_EVENT_H
#define DEPOSITD_EVENT_H

#include "depositd/civil.h"
#include "depositd/money.h"
#include "depositd/seal.h"

/* X(name, word, stored number). Clients post the first group; the close posts the second, payments and bank
 * lines the third. */
#define EVENT_KIND_TABLE(X)                                                                                  \
    X(ISSUE, issue, 1)                                                                                       \
    X(RETURN, return, 2)                                                                                     \
    X(EXCHANGE, exchange, 3)                                                                                 \
    X(SUPPLY, supply, 4)                                                                                     \
    X(DISPATCH, dispatch, 5)                                                                                 \
    X(RECEIPT, receipt, 6)                                                                                   \
    X(TRANSIT_LOSS, transit_loss, 7)                                                                         \
    X(DAMAGE, damage, 8)                                                                                     \
    X(RETIRE, retire, 9)                                                                                     \
    X(COUNT, count, 10)                                                                                      \
    X(REVERSAL, reversal, 11)                                                                                \
    X(FORFEIT, forfeit, 12)                                                                                  \
    X(REINSTATE, reinstate, 13)                                                                              \
    X(JOURNAL, journal, 14)
#define CLOSE_KIND_TABLE(X)                                                                                  \
    X(FEES, fees, 20)                                                                                        \
    X(SETTLE, settle, 21)                                                                                    \
    X(REMEASUREMENT, remeasurement, 22)
#define PAYMENT_KIND_TABLE(X)                                                                                \
    X(PAYMENT_CONFIRMED, payment_confirmed, 23)                                                              \
    X(PAYMENT_FAILED, payment_failed, 24)                                                                    \
    X(BANK_LINE, bank_line, 25)                                                                              \
    X(BANK_LINE_RESOLVED, bank_line_resolved, 26)

enum entry_kind {
    KIND_NONE = 0,
#define X(name, word, number) KIND_##name = number,
    EVENT_KIND_TABLE(X) CLOSE_KIND_TABLE(X) PAYMENT_KIND_TABLE(X)
#undef X
        KIND_LIMIT = 32
};

enum tender { TENDER_NONE, TENDER_CASH, TENDER_CARD, TENDER_VOUCHER, TENDER_APP, TENDER_OTHER };
enum bearer { BEARER_NONE, BEARER_SENDER, BEARER_RECEIVER, BEARER_OPERATOR };

enum {
    CODE_MAX = 32,
    CODE_SIZE = CODE_MAX + 1,
    CUP_LINES_MAX = 100,
    QUANTITY_MAX = 1000000,
    REFERENCE_CHARACTERS_MAX = 64,
    JOURNAL_LEGS_MAX = 100,
    ACCOUNT_CHARACTERS_MAX = 100,
    REASON_CHARACTERS_MAX = 500
};

struct cup_line {
    char cup_type[CODE_SIZE];
    bool damaged;
    struct cups quantity; /* of a count: what was counted, and may be 0 */
};

struct cup_lines {
    const struct cup_line *lines;
    size_t count;
};

/* A leg of a journal, as it was stated. */
struct stated_leg {
    const char *account; /* its name */
    struct decimal amount;
};

struct event {
    struct uuid id;
    enum entry_kind kind;
    char site[CODE_SIZE];   /* empty for forfeit, reinstate and journal */
    char scheme[CODE_SIZE]; /* empty for all others */
    struct instant occurred_at;
    struct cup_lines issued, returned, cups;
    bool amount_stated;
    struct decimal amount;
    enum tender tender;
    enum bearer bearer;
    char to[CODE_SIZE];            /* dispatch */
    struct uuid refers;            /* receipt, transit_loss: the dispatch; reversal: what it reverses */
    int64_t mass_g;                /* retire; -1: not stated */
    const char *reference;         /* NULL: none */
    const struct stated_leg *legs; /* journal … */
    size_t leg_count;
    const char *reason; /* … and why */

    /* The event as recorded: canonical JSON, and the digest by which a replay is told from a conflict. */
    const char *text;
    size_t text_length;
    struct sha256 digest;
};

/* "issue" …; NULL for a number that is no kind. */
const char *entry_kind_word(enum entry_kind kind);
/* Whether clients post it (rather than the close). */
bool entry_kind_is_event(enum entry_kind kind);
/* Whether it refers to an earlier event. */
bool entry_kind_refers(enum entry_kind kind);

const char *tender_word(enum tender tender);
const char *bearer_word(enum bearer bearer);

#endif
