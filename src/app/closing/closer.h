/* SPDX-License-Identifier: ISC */
/* The clock: a thread that keeps every scheme's calendar ahead of now, and closes the days that are due, in
 * order, also those of nights that were missed and closes that were broken off; and keeps the particulars of
 * days that are closed. It warns when a close is late. Any number of instances may run one. */
#ifndef DEPOSITD_APP_CLOSING_CLOSER_H
#define DEPOSITD_APP_CLOSING_CLOSER_H

#include "app/network/snapshot.h"
#include "base/config.h"

struct closer;

/* NULL: no memory or no thread. */
MUST_CHECK struct closer *closer_start(const struct config *config, struct snapshot_cache *snapshots,
                                       const struct pg_stop *stop);
/* Lets a close under way end, unless all waits end before, then ends the thread. */
void closer_stop(struct closer *closer);

/* How a scheme's closes stand, as the clock last saw it. */
struct closes {
    char scheme[CODE_SIZE];
    bool has_open;         /* some day is not closed; the first of them … */
    struct instant due_at; /* … is to be closed by the clock from here on */
    int64_t open_days;
    bool has_closed;
    struct instant closed_at; /* the last one */
};

struct clock_view {
    struct instant looked_at; /* the last time that the database answered; 0: never */
    bool database_answers;
    const struct closes *schemes;
    size_t scheme_count;
};

/* What the clock last saw, copied into the arena. False: out of memory. Any thread; does not block on the
 * database. */
MUST_CHECK bool closer_view(struct closer *closer, struct arena *arena, struct clock_view *view);

#endif
