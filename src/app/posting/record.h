/* SPDX-License-Identifier: ISC */
/* Recording one event: from what a client states to an entry in the ledger, or to the reasons why not.
 *
 * The checks run in a fixed order: authorisation, duplicate, then all others, which collect their faults.
 * What depends on the ledger is read under the head row. The rest is asked of the domain. */
#ifndef DEPOSITD_APP_POSTING_RECORD_H
#define DEPOSITD_APP_POSTING_RECORD_H

#include "app/posting/intake.h"
#include "app/posting/ledger.h"
#include "store/journal_store.h"

/* A scheme's ledger, and which events it has: those that were looked up, and those of this transaction. */
struct scheme_ledger {
    struct ledger ledger;
    struct pairs event_keys;
    struct remembered_event *events;
    size_t event_capacity;
    struct proposal_row *proposals; /* that wait to be written */
    size_t proposal_count, proposal_capacity;
};

struct remembered_event {
    struct known_event known;
    const struct exception *exceptions; /* of an event of this transaction; else they are in the database */
    size_t exception_count;
};

/* One event, the key that posts it, where it happens, and where its result goes. */
struct submission {
    const struct identity *identity;
    const struct event *event;
    struct event_result *result;
    struct arena *arena;         /* the job's: what the result refers to */
    const struct site *site;     /* of the event; NULL for kinds that name a scheme */
    const struct scheme *scheme; /* in which it happens */
};

/* Finds site and scheme, and whether the key may post this. False: the result says why not. */
MUST_CHECK bool record_admit(const struct network *network, struct submission *submission);

/* The ledger must have been initialised. */
void scheme_ledger_open(struct scheme_ledger *scheme_ledger);
/* Events that are known already. */
MUST_CHECK enum store_result scheme_ledger_know(struct scheme_ledger *scheme_ledger,
                                                const struct known_event *known, size_t count);
/* Reads at once what these events, all of this scheme, will ask for one by one. */
MUST_CHECK enum store_result scheme_ledger_prefetch(struct scheme_ledger *scheme_ledger,
                                                    const struct submission *submissions, size_t count);

/* Fills the result. Anything but STORE_OK is about the transaction, which must then be rolled back. */
MUST_CHECK enum store_result record_event(struct scheme_ledger *scheme_ledger, struct submission *submission);

/* Writes all that waits: entries and proposals. */
MUST_CHECK enum store_result scheme_ledger_flush(struct scheme_ledger *scheme_ledger);

#endif
