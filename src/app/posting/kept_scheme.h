/* SPDX-License-Identifier: ISC */
/* The writer's copies of each scheme's data. They last from one batch to the next, so that a batch reads only
 * changes. The calendar has the days that are not closed, and a month before them. It and the proposed events
 * are current as long as the head has the same calendar version. The state of the ledger is current as long
 * as the head has the same last entry. All copies together take no more than a bound: copies that were not
 * used for the longest time are forgotten. The writer's own; no other thread touches it. */
#ifndef DEPOSITD_APP_POSTING_KEPT_SCHEME_H
#define DEPOSITD_APP_POSTING_KEPT_SCHEME_H

#include "app/posting/ledger.h"

struct kept_scheme;

struct kept_schemes {
    size_t bytes_max; /* set by the owner; 0: no bound */
    /* its own */
    struct kept_scheme **by_id; /* NULL element: nothing is kept */
    size_t count;
    size_t bytes;          /* that the copies take */
    uint64_t uses;         /* the number of times that any of them were asked for */
    int32_t newest_scheme; /* that a batch had events of; when it was, and when another scheme's were */
    int64_t newest_ms, other_ms;
};

void kept_schemes_dispose(struct kept_schemes *all);

/* The copies of one scheme, which are empty at first. NULL: out of memory. */
MUST_CHECK struct kept_scheme *kept_scheme(struct kept_schemes *all, int32_t scheme);

/* The head as this writer left it. False: the copies are not current there, or the calendar ends before the
 * instants that an event may have. */
MUST_CHECK bool kept_head(const struct kept_scheme *kept, struct instant now, struct head *head);

/* Makes the calendars and the proposals of the schemes current at the heads that were found, with the days
 * that an event may have at `now`. Reads those that are not, in the same statements for all. The rows
 * are read into memory of `arena` first. */
MUST_CHECK enum store_result kept_calendars_renew(struct kept_schemes *all, struct pg *pg,
                                                  struct arena *arena, const struct head_request *requests,
                                                  size_t count, struct instant now);

/* As kept_calendars_renew has left them: the calendar, and the proposed events that are not in the ledger. */
const struct calendar *kept_calendar(const struct kept_scheme *kept);
const struct known_event *kept_proposals(const struct kept_scheme *kept, size_t *count);

/* Whether somebody else held the scheme's head the last time it was asked for. */
void kept_note_held(struct kept_scheme *kept, bool held);
bool kept_is_held(const struct kept_scheme *kept);
/* Whether a wait for the head may be worth while. After a wait in vain, no other wait is for a while, unless
 * the head was had meanwhile. */
void kept_note_waited_in_vain(struct kept_scheme *kept, int waited_ms);
bool kept_may_wait(const struct kept_scheme *kept);
/* Whether this writer had events of any other scheme in the last second, which a wait would hold up. */
void kept_note_events(struct kept_schemes *all, int32_t scheme);
bool kept_others_have_events(const struct kept_schemes *all, int32_t scheme);

/* *entry: the entry up to which the ledger is known. False: nothing is known. */
MUST_CHECK bool kept_since(const struct kept_scheme *kept, int64_t *entry);

/* The state of the ledger at the head that was found: the known state, caught up with other writers' batches,
 * or an empty one. Call kept_state_confirm once the entries that were appended to it are committed; without
 * that call the state is forgotten next time. */
struct ledger_state *kept_state(struct kept_scheme *kept, const struct head_request *request);
void kept_state_confirm(struct kept_scheme *kept);

/* Counts what the copies of a scheme take now. Called after each batch that used them, even if it failed. */
void kept_measure(struct kept_schemes *all, struct kept_scheme *kept);
/* Forgets copies until the others are within the bound. Called between two batches. */
void kept_schemes_trim(struct kept_schemes *all);

#endif
