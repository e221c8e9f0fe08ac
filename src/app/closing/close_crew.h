/* SPDX-License-Identifier: ISC */
/* The closing threads, each with a connection of its own. The clock (closer.h) offers what is to be done.
 * Each thread takes a scheme at a time, extends its calendar and closes its day.
 *
 * Schemes take turns: first those that have had the fewest turns since they fell behind, among these the one
 * whose close is due for longest. So nobody's backlog and nobody's failure holds up the others. */
#ifndef DEPOSITD_APP_CLOSING_CLOSE_CREW_H
#define DEPOSITD_APP_CLOSING_CLOSE_CREW_H

#include "app/network/snapshot.h"
#include "base/config.h"
#include "store/close_store.h"

struct close_crew;

struct close_crew_owner {
    /* Called on a closing thread after a close, if nothing is left to begin: it is time to look again. */
    void (*look_again)(void *context);
    void *context;
};

/* NULL: no memory or no threads. */
MUST_CHECK struct close_crew *close_crew_start(const struct config *config, struct snapshot_cache *snapshots,
                                               const struct pg_stop *stop, struct close_crew_owner owner);
/* The crew begins nothing more. */
void close_crew_halt(struct close_crew *crew);
/* Waits until the closes under way end, or all waits for the database are ended (pg_stop). */
void close_crew_stop(struct close_crew *crew);

/* Call it before each look at the database. Work that ends after it may still be in what the look finds, and
 * is not done again. */
void close_crew_begin_look(struct close_crew *crew);
/* Gives the crew what the look found. It replaces what was found before, except for work under way. */
void close_crew_offer(struct close_crew *crew, const struct close_work *work, size_t count);
/* Whether a close waits for a thread that has not been tried yet. */
bool close_crew_is_behind(struct close_crew *crew);

#endif
