/* SPDX-License-Identifier: ISC */
/* From facts to an entry: the posting rules make legs of the facts, and the ledger appends them. Events, the
 * close and the office all go this way. */
#ifndef DEPOSITD_APP_POSTING_POST_FACTS_H
#define DEPOSITD_APP_POSTING_POST_FACTS_H

#include "app/posting/ledger.h"
#include "depositd/posting.h"

/* Derives the legs, in the ledger's memory, and appends nothing. STORE_OUT_OF_RANGE: an amount does not fit.
 */
MUST_CHECK enum store_result post_derive(const struct ledger *ledger, const struct posting_facts *facts,
                                         struct leg_list *legs);

/* The balances that the accounts of the legs will have, in the ledger's memory: of those that may fall below
 * zero, and of cups that visit where they leave. */
MUST_CHECK enum store_result post_balances_after(struct ledger *ledger, const struct leg_list *legs,
                                                 int64_t **after);

/* Finds the amount in the currency of the ledger's scheme, which is the home or the host. False: it does not
 * fit. */
MUST_CHECK bool post_book_agreed(const struct ledger *ledger, struct agreed *agreed);

/* Derives the legs and appends the entry. The function fills in kind, site and legs of the draft; the caller
 * says the rest. *entry is the new entry's number; 0: nothing moves, and there is no entry.
 * STORE_OUT_OF_RANGE: an amount or a balance is too large. */
MUST_CHECK enum store_result post_facts(struct ledger *ledger, const struct posting_facts *facts,
                                        struct draft *draft, int64_t *entry);

/* The same with legs that post_derive has made of the facts. */
MUST_CHECK enum store_result post_legs(struct ledger *ledger, const struct posting_facts *facts,
                                       const struct leg_list *legs, struct draft *draft, int64_t *entry);

#endif
