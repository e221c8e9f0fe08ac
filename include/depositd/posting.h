/* SPDX-License-Identifier: ISC */
/* The posting rules: which legs an entry has.
 *
 * posting_rules() is the whole of the bookkeeping, one row per leg; posting_derive() does no more than walk
 * it. The caller looks up the facts that the rows name (tills, values, lines) beforehand, into posting_facts.
 * To change the bookkeeping, change a row. Pure; any thread. */
#ifndef DEPOSITD_POSTING_H
#define DEPOSITD_POSTING_H

#include "depositd/account.h"
#include "depositd/network.h"
#include "depositd/reason.h"

/* Which lines of the entry a rule makes a leg for, each one. */
enum rule_each {
    EACH_ENTRY,    /* once */
    EACH_ISSUED,   /* cups handed out */
    EACH_RETURNED, /* cups handed back … */
    EACH_RETURNED_SOUND,
    EACH_RETURNED_DAMAGED,
    EACH_CUPS, /* cups of an event that has one list … */
    EACH_CUPS_SOUND,
    EACH_CUPS_DAMAGED,
    EACH_COUNTED,          /* cup types counted; n = counted - book */
    EACH_REVERSED_LEG,     /* the legs of the entry that is reversed */
    EACH_STATED_LEG,       /* the legs that a journal states */
    EACH_REVALUED_OUT,     /* remeasured cups: with customers, … */
    EACH_REVALUED_STOCK,   /* … at a site, sound or damaged, … */
    EACH_REVALUED_TRANSIT, /* … and in transit */
    EACH_OPENED_TYPE,      /* an opening: all cups of a type, … */
    EACH_OPENED_AT_SITE,   /* … those at a site, sound or damaged, … */
    EACH_OPENED_SOUND,
    EACH_OPENED_DAMAGED,
    EACH_OPENED_TRANSIT, /* … on the road, … */
    EACH_OPENED_OUT,     /* … with customers, … */
    EACH_OPENED_RETIRED,
    EACH_OPENED_UNACCOUNTED,
    EACH_DUE,      /* … and the amounts that participants owe or are owed */
    EACH_VISITING, /* cups handed back that carry another scheme's deposit … */
    EACH_VISITING_SOUND,
    EACH_VISITING_DAMAGED,
    EACH_AGREED /* … and the amounts that are agreed for them, one for each home */
};

enum rule_terms { ANY_TERMS, IF_ON_LOAN, IF_ON_DEPOSIT };

enum rule_when {
    ALWAYS,
    WHEN_SENDER_BEARS,
    WHEN_RECEIVER_BEARS,
    WHEN_OPERATOR_BEARS,
    WHEN_RECEIVER_BEARS_FROM_HOST,
    /* A shipment: within the scheme, sent home by the host, or received by the home. */
    WHEN_WITHIN_SCHEME,
    WHEN_SENT_HOME,
    WHEN_FROM_HOST,
    WHEN_SHORTAGES_CHARGED,
    /* A payment: a collection from a participant, a payout to one, or from one straight to another. */
    WHEN_PARTICIPANT_PAYS,
    WHEN_PARTICIPANT_IS_PAID,
    WHEN_POOL_PAYS,
    WHEN_POOL_IS_PAID,
    /* A bank line, and its resolution. */
    WHEN_FOR_NOBODY,
    WHEN_FOR_SETTLEMENT,
    WHEN_FOR_ARREARS,
    WHEN_FOR_CHARGES,
    WHEN_FOR_INTEREST,
    WHEN_FOR_OPERATOR,
    WHEN_FOR_BETWEEN
};

enum rule_side { DEBIT, CREDIT };

/* Whose account, where the account has an owner. */
enum rule_owner {
    OF_NOBODY,
    AT_SITE,
    AT_SENDER,
    AT_RECEIVER,
    OF_PARTICIPANT,
    OF_PAYER,
    OF_PAYEE,
    AT_SITE_OF_LINE, /* of an opening, which names many sites */
    OF_HOME,         /* the scheme whose deposit the line's cups carry */
    OF_HOST,         /* the scheme that took them back */
    OF_PAIR          /* the two schemes of the agreed amount */
};

/* n: cups of the line; v: refund value on the posting day; w: on the dispatch's posting day. */
enum rule_measure {
    CUPS,            /* n */
    VALUE,           /* n v */
    DISPATCH_VALUE,  /* n w */
    VALUE_CHANGE,    /* n (new v - old v) */
    TILL,            /* a: the customer's payment, less the amount paid out */
    TILL_LESS_VALUE, /* a less the value issued, plus the value returned */
    TAX_WITHIN,      /* n v r / (1 + r) */
    VALUE_LESS_TAX,  /* n v less that */
    SERVICE_FEE,
    SERVICE_TAX,
    SERVICE_FEE_WITH_TAX,
    HANDLING_FEE,
    HANDLING_TAX,
    HANDLING_FEE_WITH_TAX,
    STANDING_FEE,
    STANDING_TAX,
    STANDING_FEE_WITH_TAX,
    CLEARING_BALANCE, /* of the site, through the day that closes */
    ARREARS_BALANCE,  /* of the participant, likewise */
    AMOUNT, /* of the payment; of the bank's line, positive where the account grew; an opening's balance at
               the bank */
    REST,   /* the amount that makes the money legs sum to zero */
    MIRROR, /* the reversed leg, negated */
    STATED, /* the stated leg, or the stated amount due, as it is */
    AGREED  /* the agreed amount, in the scheme's own currency */
};

struct posting_rule {
    uint32_t kinds; /* set of 1u << entry_kind */
    enum rule_terms terms;
    enum rule_when when;
    enum rule_each each;
    enum rule_side side;
    enum account_kind account;
    enum rule_owner owner;
    enum rule_measure measure;
};

const struct posting_rule *posting_rules(size_t *count);

/* The words under which GET /v1/posting-rules shows a rule. */
const char *rule_each_word(enum rule_each each);
const char *rule_terms_word(enum rule_terms terms);
const char *rule_when_word(enum rule_when when);
const char *rule_side_word(enum rule_side side);
const char *rule_owner_word(enum rule_owner owner);
const char *rule_measure_word(enum rule_measure measure);

enum line_list {
    LIST_ISSUED,
    LIST_RETURNED,
    LIST_CUPS,
    LIST_COUNTED,
    LIST_OUT,
    LIST_STOCK,
    LIST_TRANSIT,
    LIST_OPENED_TYPE, /* the lists of an opening; this one sums up the others by cup type */
    LIST_OPENED_AT_SITE,
    LIST_OPENED_TRANSIT,
    LIST_OPENED_OUT,
    LIST_OPENED_RETIRED,
    LIST_OPENED_UNACCOUNTED,
    LIST_VISITING
};

/* One line of an entry, with all that the rules need to know of its cup type. */
struct posting_line {
    enum line_list list;
    int32_t cup_type;
    bool damaged;
    struct cups n;
    struct money value;          /* v */
    struct money tariff;         /* the value on the day of occurrence; v, if there was none yet */
    bool without_tariff;         /* there was none */
    struct money dispatch_value; /* w; receipts and losses only */
    struct money change;         /* new v - old v; revalued lists only */
    int32_t site;                /* LIST_OPENED_AT_SITE only */
    int32_t home;                /* LIST_VISITING, and cups sent home: the scheme whose deposit they carry */
};

/* Where a line of the bank's belongs. */
enum line_target {
    LINE_OF_NOBODY,
    LINE_FOR_SETTLEMENT, /* of a participant … */
    LINE_FOR_ARREARS,
    LINE_FOR_CHARGES, /* the bank's charges */
    LINE_FOR_INTEREST,
    LINE_FOR_OPERATOR, /* the operator's own money */
    LINE_FOR_BETWEEN   /* the debt of another scheme to this one */
};

/* An amount that a participant owes (positive) or is owed when a scheme opens. */
struct due {
    int32_t participant;
    struct money amount;
};

/* The debt of the home to the host for the cups of an entry. */
struct agreed {
    int32_t home, host;
    struct money exact;    /* in the agreed currency; of a reversal below zero */
    struct money booked;   /* in the currency of the scheme that posts the entry */
    bool in_host_currency; /* the agreed currency is the host's */
    int64_t rate_e12;      /* units of the other currency for one of the agreed, times 10^12 */
};

/* The entry of the host that an entry of the home follows. */
struct followed {
    int32_t host;
    int64_t entry;
    struct uuid event_id;
    struct sha256 hash; /* of its leaf */
};

struct posting_facts {
    enum entry_kind kind;
    enum stock_terms stock_terms;
    bool charge_shortages;
    enum bearer bearer;
    struct rate tax_rate;
    int32_t site, sender, receiver, participant; /* ids; 0 where there is none */
    int32_t payer, payee;                        /* 0: the pool */
    const struct posting_line *lines;
    size_t line_count;
    const struct leg *reversed; /* of a payment that failed: its confirmation's, if it had one */
    size_t reversed_count;
    const struct leg *stated; /* a journal's */
    size_t stated_count;
    const struct due *due; /* an opening's */
    size_t due_count;
    const struct agreed *agreed;
    size_t agreed_count;
    int32_t host; /* of an entry that follows a return abroad: the scheme that took the cups back; of a
                     receipt or a loss of cups that it sends home: that scheme */
    int32_t home; /* of a dispatch to another scheme's site: that scheme */
    struct money till;
    struct money service_fee, service_tax, handling_fee, handling_tax, standing_fee, standing_tax;
    struct money clearing, arrears;
    struct money amount;
    enum line_target target;
};

/* Room for the legs of one entry; the caller's memory. */
struct leg_list {
    struct leg *legs;
    size_t count;
    size_t capacity;
};

/* Appends the entry's legs in the order of the rules; legs of zero are left out. REASON_OUT_OF_RANGE: an
 * amount overflows, or a client's amount is beyond MONEY_STATED_MAX. The capacity posting_legs_max() is
 * always enough. */
MUST_CHECK enum reason posting_derive(const struct posting_facts *facts, struct leg_list *legs);
size_t posting_legs_max(const struct posting_facts *facts);

/* The customer's net price for the cups issued less those returned: by the tariff, and by the value of the
 * posting day. */
MUST_CHECK enum reason posting_tariff(const struct posting_line *lines, size_t count, struct money *tariff,
                                      struct money *value);

/* The list of revalued cups that the cups of this account belong to. False: nothing is owed for them. */
bool posting_revalued_list(enum account_kind kind, enum line_list *list);

/* Adds the lines with which a reversal remeasures the cups that the mirror moves: the cup types whose value
 * has changed since the reversed entry's day. `values` holds cup type, change pairs. Returns the number of
 * lines written to `lines`, which has room for one per reversed leg. */
struct value_change {
    int32_t cup_type;
    struct money change;
};
size_t posting_revalue_reversed(const struct leg *reversed, size_t reversed_count,
                                const struct value_change *changes, size_t change_count,
                                struct posting_line *lines);

#endif
