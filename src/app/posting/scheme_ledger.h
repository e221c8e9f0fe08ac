/* SPDX-License-Identifier: ISC */
/* One scheme's ledger while a batch posts to it, with the known events: events that were looked up, proposed
 * events, and events of the batch itself. Lives in the arena of the batch; the writer's own. */
#ifndef DEPOSITD_APP_POSTING_SCHEME_LEDGER_H
#define DEPOSITD_APP_POSTING_SCHEME_LEDGER_H

#include "app/posting/ledger.h"
#include "app/posting/submission.h"
#include "store/proposed_store.h"

struct scheme_ledger {
    struct ledger ledger;
    struct pairs event_keys; /* where in `events` an id is */
    struct remembered_event *events;
    size_t event_capacity;
    bool opening_pending;           /* an opening is proposed: nothing else is posted */
    struct proposal_row *proposals; /* that wait to be written */
    size_t proposal_count, proposal_capacity;
};

struct remembered_event {
    struct known_event known;
    const struct exception *exceptions; /* of an event of this batch; exceptions of earlier events are in
                                           the database */
    size_t exception_count;
};

/* The ledger must have been initialised. */
void scheme_ledger_open(struct scheme_ledger *scheme_ledger);

/* From now on the event is known, and another event with its id is a replay of it. */
MUST_CHECK enum store_result scheme_ledger_remember(struct scheme_ledger *scheme_ledger,
                                                    const struct remembered_event *event);
/* The same for an event that was read from the database. */
MUST_CHECK enum store_result scheme_ledger_know(struct scheme_ledger *scheme_ledger,
                                                const struct known_event *known);
/* NULL: no event with this id is known. */
const struct remembered_event *scheme_ledger_find(const struct scheme_ledger *scheme_ledger,
                                                  const struct uuid *id);

/* Keeps an event to be written as a proposal. All that the row points to must live until then. */
MUST_CHECK enum store_result scheme_ledger_propose(struct scheme_ledger *scheme_ledger,
                                                   const struct proposal_row *row);

/* Writes the proposals. */
MUST_CHECK enum store_result scheme_ledger_write_proposals(struct scheme_ledger *scheme_ledger);

#endif
