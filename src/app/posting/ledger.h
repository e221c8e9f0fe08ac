/* SPDX-License-Identifier: ISC */
/* One scheme's ledger, open for appending within a transaction that holds the scheme's head row.
 *
 * Entries that are appended get their numbers, hashes and places in the day's Merkle tree at once, and are
 * written together by ledger_flush, with those of the transaction's other ledgers. Balances include entries
 * that are not yet written. Lives in the arena of one transaction; one thread. */
#ifndef DEPOSITD_APP_POSTING_LEDGER_H
#define DEPOSITD_APP_POSTING_LEDGER_H

#include "app/posting/unwritten.h"

struct ledger {
    /* Set by the owner, before ledger_init. */
    struct pg *pg;
    struct arena *arena; /* the transaction's */
    const struct network *network;
    const struct scheme *scheme;
    const struct calendar *calendar;
    struct instant now;
    struct ledger_state *state;  /* with all that has been appended */
    struct unwritten *unwritten; /* where its rows wait to be written, with those of other ledgers */
    /* The ledger's own. */
    struct unwritten_part part;
};

/* A draft of an entry. */
struct draft {
    enum entry_kind kind;
    struct date business_date;
    bool late;
    int32_t site; /* 0: none */
    int32_t key;  /* 0: the service */
    struct instant occurred_at;
    const struct event *event; /* NULL: an entry of the close; outlives the flush */
    const struct leg *legs;    /* copied */
    size_t leg_count;
    enum entry_kind mirrored_kind; /* of a reversal: the reversed entry's kind, … */
    struct date mirrored_date;     /* … its posting day, … */
    size_t mirrored_count;         /* … and how many of the legs, the first ones, mirror its legs */
    int64_t fees, tax;             /* of a fees entry: the site owes these */
    const struct agreed *agreed;   /* copied; by home */
    size_t agreed_count;
    const struct followed *followed; /* NULL: it follows no entry of another scheme */
};

/* The owner has set the first part of the ledger; its rest is zero. */
void ledger_init(struct ledger *ledger);

/* The balance of a cup account, including all that has been appended. */
MUST_CHECK enum store_result ledger_balance(struct ledger *ledger, struct account account, int64_t *balance);

/* Appends; *entry is its number. STORE_OUT_OF_RANGE: a sum does not fit. */
MUST_CHECK enum store_result ledger_append(struct ledger *ledger, const struct draft *draft, int64_t *entry);

/* Notes that belong to the entry appended last. */
MUST_CHECK enum store_result ledger_add_exception(struct ledger *ledger, int32_t position,
                                                  struct exception exception);
MUST_CHECK enum store_result ledger_add_reference(struct ledger *ledger, int64_t referred);
/* The same for a dispatch of another scheme, the host. */
MUST_CHECK enum store_result ledger_add_host_dispatch(struct ledger *ledger, int32_t host, int64_t dispatch);
MUST_CHECK enum store_result ledger_add_shipment(struct ledger *ledger, const struct uuid *shipment);
MUST_CHECK enum store_result ledger_add_transfer(struct ledger *ledger, const struct transfer_row *row);
MUST_CHECK enum store_result ledger_add_forfeited(struct ledger *ledger, int32_t cup_type, int64_t cups);

/* Writes all that waits, also of the transaction's other ledgers. */
MUST_CHECK enum store_result ledger_flush(struct ledger *ledger);

/* Begins the transaction, if that was left until the first write. Row locks hold from then on. */
MUST_CHECK enum store_result ledger_begin(struct ledger *ledger);

/* The counters and the frontier of a day, including all that has been appended. */
MUST_CHECK enum store_result ledger_day(struct ledger *ledger, struct date date, struct day_counters **day);

#endif
