/* SPDX-License-Identifier: ISC */
/* Events as a POS terminal or an accountant states them, and the kinds of entry that the ledger holds.
 *
 * An event names things by their codes; nothing is looked up here. Its strings and lists are borrowed from
 * the request's arena. Stored numbers (kinds, tenders, bearers) never change their meaning. */
#ifndef DEPOSITD_EVENT_H
#define DEPOSITD_EVENT_H

#include "depositd/civil.h"
#include "depositd/cup_id.h"
#include "depositd/money.h"
#include "depositd/role.h"
#include "depositd/seal.h"

/* The roles that may post a kind of event, as a set. The service alone makes an entry that nobody may
 * post. */
enum { BY_NOBODY = 0, BY_STAFF = FOR_STAFF, BY_TILLS_AND_STAFF = FOR_POS | FOR_STAFF };

/* The part of an entry in the life of a site. Fees, site days and exceptions follow from it. */
enum kind_activity {
    ACTIVITY_COUNTER, /* cups and money change hands with a customer: fees are due */
    ACTIVITY_STOCK,   /* cups of the site come, go or are counted */
    ACTIVITY_OTHER,   /* anything else that moves what the site owes */
    ACTIVITY_CLOSE    /* the close charges or settles the day: no activity of the site */
};

/* Whether an event names a site or a scheme. Its members in http/events/event_body.c follow from it. */
enum kind_place { PLACE_SITE, PLACE_SCHEME, PLACE_OF_REVERSED, PLACE_NOT_STATED };

/* Which earlier event an event names. */
enum kind_refers { REFERS_NOTHING, REFERS_DISPATCH, REFERS_REVERSED };

/* The effect of an entry on cups beside its legs: the state of a dispatch, or the tally of forfeited cups. */
enum kind_effect {
    EFFECT_NOTHING,
    EFFECT_SENT,
    EFFECT_RECEIVED,
    EFFECT_LOST,
    EFFECT_FORFEITED,
    EFFECT_REINSTATED
};

/* The way to undo an entry of this kind. */
enum kind_undo {
    UNDO_NEVER,
    UNDO_REVERSAL,
    UNDO_WHILE_LAST, /* a reversal, as long as no other entry follows */
    UNDO_JOURNAL     /* another journal */
};

/* All kinds of entry. Every row has every member; the enums above give their meaning. X(name, word, stored
 * number, posters, activity, place, refers, effect, posters after the scheme's end, undo). Clients post
 * these: */
#define EVENT_KIND_TABLE(X)                                                                                  \
    X(ISSUE, issue, 1, BY_TILLS_AND_STAFF, COUNTER, SITE, NOTHING, NOTHING, BY_NOBODY, REVERSAL)             \
    X(RETURN, return, 2, BY_TILLS_AND_STAFF, COUNTER, SITE, NOTHING, NOTHING, BY_TILLS_AND_STAFF, REVERSAL)  \
    X(EXCHANGE, exchange, 3, BY_TILLS_AND_STAFF, COUNTER, SITE, NOTHING, NOTHING, BY_NOBODY, REVERSAL)       \
    X(SUPPLY, supply, 4, BY_TILLS_AND_STAFF, STOCK, SITE, NOTHING, NOTHING, BY_NOBODY, REVERSAL)             \
    X(DISPATCH, dispatch, 5, BY_TILLS_AND_STAFF, STOCK, SITE, NOTHING, SENT, BY_STAFF, REVERSAL)             \
    X(RECEIPT, receipt, 6, BY_TILLS_AND_STAFF, STOCK, SITE, DISPATCH, RECEIVED, BY_STAFF, REVERSAL)          \
    X(TRANSIT_LOSS, transit_loss, 7, BY_STAFF, STOCK, SITE, DISPATCH, LOST, BY_STAFF, REVERSAL)              \
    X(DAMAGE, damage, 8, BY_TILLS_AND_STAFF, STOCK, SITE, NOTHING, NOTHING, BY_STAFF, REVERSAL)              \
    X(RETIRE, retire, 9, BY_TILLS_AND_STAFF, STOCK, SITE, NOTHING, NOTHING, BY_STAFF, REVERSAL)              \
    X(COUNT, count, 10, BY_TILLS_AND_STAFF, STOCK, SITE, NOTHING, NOTHING, BY_STAFF, REVERSAL)               \
    X(REVERSAL, reversal, 11, BY_TILLS_AND_STAFF, OTHER, OF_REVERSED, REVERSED, NOTHING, BY_TILLS_AND_STAFF, \
      NEVER)                                                                                                 \
    X(FORFEIT, forfeit, 12, BY_STAFF, OTHER, SCHEME, NOTHING, FORFEITED, BY_STAFF, REVERSAL)                 \
    X(REINSTATE, reinstate, 13, BY_STAFF, OTHER, SCHEME, NOTHING, REINSTATED, BY_STAFF, REVERSAL)            \
    X(JOURNAL, journal, 14, BY_STAFF, OTHER, SCHEME, NOTHING, NOTHING, BY_STAFF, JOURNAL)                    \
    X(OPENING, opening, 15, BY_STAFF, OTHER, SCHEME, NOTHING, NOTHING, BY_NOBODY, WHILE_LAST)
/* The service makes these: at the close, for payments, for lines of bank statements, and for cups that
 * another scheme took back. */
#define SERVICE_KIND_TABLE(X)                                                                                \
    X(FEES, fees, 20, BY_NOBODY, CLOSE, NOT_STATED, NOTHING, NOTHING, BY_NOBODY, NEVER)                      \
    X(SETTLE, settle, 21, BY_NOBODY, CLOSE, NOT_STATED, NOTHING, NOTHING, BY_NOBODY, NEVER)                  \
    X(REMEASUREMENT, remeasurement, 22, BY_NOBODY, OTHER, NOT_STATED, NOTHING, NOTHING, BY_NOBODY, NEVER)    \
    X(PAYMENT_CONFIRMED, payment_confirmed, 23, BY_NOBODY, OTHER, NOT_STATED, NOTHING, NOTHING, BY_NOBODY,   \
      NEVER)                                                                                                 \
    X(PAYMENT_FAILED, payment_failed, 24, BY_NOBODY, OTHER, NOT_STATED, NOTHING, NOTHING, BY_NOBODY, NEVER)  \
    X(BANK_LINE, bank_line, 25, BY_NOBODY, OTHER, NOT_STATED, NOTHING, NOTHING, BY_NOBODY, NEVER)            \
    X(BANK_LINE_RESOLVED, bank_line_resolved, 26, BY_NOBODY, OTHER, NOT_STATED, NOTHING, NOTHING, BY_NOBODY, \
      NEVER)                                                                                                 \
    X(RETURN_ABROAD, return_abroad, 27, BY_NOBODY, OTHER, NOT_STATED, NOTHING, NOTHING, BY_NOBODY, NEVER)    \
    X(REVERSAL_ABROAD, reversal_abroad, 28, BY_NOBODY, OTHER, NOT_STATED, NOTHING, NOTHING, BY_NOBODY, NEVER)
#define ENTRY_KIND_TABLE(X) EVENT_KIND_TABLE(X) SERVICE_KIND_TABLE(X)

enum entry_kind {
    KIND_NONE = 0,
#define X(name, word, number, ...) KIND_##name = number,
    ENTRY_KIND_TABLE(X)
#undef X
        KIND_LIMIT = 32
};

/* X(name, word): how customers pay at the counter, and who bears the loss of a transit. */
#define TENDER_TABLE(X) X(CASH, cash) X(CARD, card) X(VOUCHER, voucher) X(APP, app) X(OTHER, other)
#define BEARER_TABLE(X) X(SENDER, sender) X(RECEIVER, receiver) X(OPERATOR, operator)

enum tender {
    TENDER_NONE,
#define X(name, word) TENDER_##name,
    TENDER_TABLE(X)
#undef X
};
enum bearer {
    BEARER_NONE,
#define X(name, word) BEARER_##name,
    BEARER_TABLE(X)
#undef X
};

enum {
    CODE_MAX = 32,
    CODE_SIZE = CODE_MAX + 1,
    CUP_LINES_MAX = 100,
    QUANTITY_MAX = 1000000,
    REFERENCE_CHARACTERS_MAX = 64,
    JOURNAL_LEGS_MAX = 100,
    ACCOUNT_CHARACTERS_MAX = 100,
    REASON_CHARACTERS_MAX = 500,
    /* Bounds of an opening, for a network of some thousand sites. */
    OPENING_PLACES_MAX = 20000,
    OPENING_SHIPMENTS_MAX = 200,
    OPENING_DUE_MAX = 5000
};

struct cup_line {
    char cup_type[CODE_SIZE];
    bool damaged;
    char home[CODE_SIZE];     /* returned cups: the scheme whose deposit they carry; empty: this one's */
    struct cups quantity;     /* of a count: the cups that were counted, which may be 0 */
    const struct cup_id *ids; /* of some of these cups; an id may stand twice */
    size_t id_count;
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

/* Where an opening finds cups that are neither at a site nor on the road. X(name, word) */
#define CUP_PLACE_TABLE(X) X(WITH_CUSTOMERS, with_customers) X(RETIRED, retired) X(UNACCOUNTED, unaccounted)

enum cup_place {
    PLACE_AT_SITE,
#define X(name, word) PLACE_##name,
    CUP_PLACE_TABLE(X)
#undef X
};

struct place_line {
    enum cup_place place;
    char site[CODE_SIZE]; /* of PLACE_AT_SITE; else empty */
    struct cup_line cups;
};

/* Cups on the road from one site to another. Receipts and losses name the dispatch. */
struct shipment {
    struct uuid dispatch;
    char site[CODE_SIZE], to[CODE_SIZE];
    struct cup_lines cups;
};

/* An amount that a participant owes (positive) or is owed. */
struct stated_due {
    char participant[CODE_SIZE];
    struct decimal amount;
};

struct opening {
    const struct place_line *places;
    size_t place_count;
    const struct shipment *shipments;
    size_t shipment_count;
    struct decimal bank;
    const struct stated_due *due;
    size_t due_count;
};

struct event {
    struct uuid id;
    enum entry_kind kind;
    char site[CODE_SIZE];   /* empty for events of a scheme: … */
    char scheme[CODE_SIZE]; /* … forfeit, reinstate, journal, opening; empty for all others */
    struct instant occurred_at;
    struct cup_lines issued, returned, cups;
    bool amount_stated;
    struct decimal amount;
    enum tender tender;
    enum bearer bearer;  /* transit_loss; BEARER_NONE: still to be decided */
    char to[CODE_SIZE];  /* dispatch … */
    bool names_shipment; /* … which may fulfil a request: */
    struct uuid shipment;
    char batch[CODE_SIZE];         /* supply: the batch that its cups were made from; empty: none */
    struct uuid refers;            /* receipt, transit_loss: the dispatch; reversal: the event that it
                                      reverses */
    char host[CODE_SIZE];          /* receipt, transit_loss: the scheme of the dispatch; empty: this one */
    int64_t mass_g;                /* retire; -1: not stated */
    const char *reference;         /* NULL: none */
    const struct stated_leg *legs; /* journal … */
    size_t leg_count;
    const char *reason;            /* … and why */
    const struct opening *opening; /* NULL for all other kinds */

    /* The event as recorded: canonical JSON, and the digest by which a replay is told from a conflict. */
    const char *text;
    size_t text_length;
    struct sha256 digest;
};

/* "issue" …; NULL for a number that is no kind. */
const char *entry_kind_word(enum entry_kind kind);
/* Clients post it, not the service. */
bool entry_kind_is_event(enum entry_kind kind);
/* The members of the kind's row. KIND_NONE is posted by nobody and does nothing. */
uint32_t entry_kind_posters(enum entry_kind kind);
uint32_t entry_kind_posters_after_end(enum entry_kind kind);
enum kind_activity entry_kind_activity(enum entry_kind kind);
enum kind_refers entry_kind_refers(enum entry_kind kind);
enum kind_effect entry_kind_effect(enum entry_kind kind);
enum kind_undo entry_kind_undo(enum entry_kind kind);
/* The kind with this word; KIND_NONE: there is none. */
enum entry_kind entry_kind_parse(const char *word);

/* NULL for PLACE_AT_SITE. */
const char *cup_place_word(enum cup_place place);
const char *tender_word(enum tender tender);
const char *bearer_word(enum bearer bearer);

#endif
