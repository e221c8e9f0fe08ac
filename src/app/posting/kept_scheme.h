/* SPDX-License-Identifier: ISC */
/* What the writer keeps of each scheme from one batch to the next, so that a batch reads only what has
 * changed: the calendar and the journals that are proposed, which hold at the head's calendar version, and
 * the state of the ledger, which holds at the head's last entry. The writer's own; nothing else touches it.
 */
#ifndef DEPOSITD_APP_POSTING_KEPT_SCHEME_H
#define DEPOSITD_APP_POSTING_KEPT_SCHEME_H

#include "app/posting/ledger.h"

struct kept_scheme;

struct kept_schemes {
    struct kept_scheme **by_id; /* NULL element: nothing is kept */
    size_t count;
};

void kept_schemes_dispose(struct kept_schemes *all);

/* The scheme's, new if need be; NULL: out of memory. */
MUST_CHECK struct kept_scheme *kept_scheme(struct kept_schemes *all, int32_t scheme);

/* Where this writer left the head, if what is kept holds there and the calendar reaches a little beyond
 * `now`. */
MUST_CHECK bool kept_head(const struct kept_scheme *kept, struct instant now, struct head *head);

/* The calendar at the head's version, extended to a little after `now`. Valid until the next call. */
MUST_CHECK enum store_result kept_calendar(struct kept_scheme *kept, struct pg *pg, const struct head *head,
                                           struct instant now, const struct calendar **calendar);

/* The journals that were proposed and are not in the ledger, as of the last kept_calendar. */
const struct known_event *kept_proposals(const struct kept_scheme *kept, size_t *count);

/* Whether somebody else held the scheme's head when it was last asked for. */
void kept_note_held(struct kept_scheme *kept, bool held);
bool kept_is_held(const struct kept_scheme *kept);

/* Whether the ledger is known up to an entry, and which. */
MUST_CHECK bool kept_since(const struct kept_scheme *kept, int64_t *entry);

/* The state of the ledger at the head that was found: what is known, caught up with other writers' batches,
 * or nothing. Call kept_state_confirm after the commit of what was appended to it; without that call the
 * state is forgotten next time. */
struct ledger_state *kept_state(struct kept_scheme *kept, const struct head_request *request);
void kept_state_confirm(struct kept_scheme *kept);

#endif
