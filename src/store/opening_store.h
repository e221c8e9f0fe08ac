/* SPDX-License-Identifier: ISC */
/* The opening of a scheme. All of it runs within a transaction that holds the scheme's head row. Results are
 * put into the given arena. */
#ifndef DEPOSITD_STORE_OPENING_STORE_H
#define DEPOSITD_STORE_OPENING_STORE_H

#include "store/ledger_store.h"

enum last_entry { LAST_IS_NONE, LAST_IS_OPENING, LAST_IS_REVERSED_OPENING, LAST_IS_OTHER };

/* Looks at the last entry of the scheme. While it is the reversal of an opening, nothing else has been
 * posted. */
MUST_CHECK enum store_result store_opening_last(struct pg *pg, int32_t scheme, enum last_entry *last);

/* Whether an opening waits for a second person. */
MUST_CHECK enum store_result store_opening_pending(struct pg *pg, int32_t scheme, bool *pending);

/* The legs as a balance sheet in JSON; *sheet is NULL if the id is not that of an opening, nor of the
 * reversal of one, that was proposed. */
MUST_CHECK enum store_result store_balance_sheet(struct pg *pg, struct arena *arena, int32_t scheme,
                                                 const struct leg *legs, size_t count, const char **sheet);
MUST_CHECK enum store_result store_proposed_sheet(struct pg *pg, struct arena *arena, int32_t scheme,
                                                  const struct uuid *id, const char **sheet);

/* Those of the ids that the scheme's events have. */
MUST_CHECK enum store_result store_ids_taken(struct pg *pg, struct arena *arena, int32_t scheme,
                                             struct pg_arg ids, struct uuid **taken, size_t *count);

/* Takes up the shipments of an opening that has just been written, with this entry. */
MUST_CHECK enum store_result store_opening_shipments(struct pg *pg, int32_t scheme, int64_t entry);
/* Takes them back: the opening of this entry is reversed. */
MUST_CHECK enum store_result store_opening_shipments_reverse(struct pg *pg, int32_t scheme, int64_t entry);

#endif
