/* SPDX-License-Identifier: ISC */
/* The clock: a thread that looks which calendars must be extended and which days are due. Its crew
 * (close_crew.h) extends and closes them, the days of a scheme in order. The clock keeps the particulars of
 * closed days, and follows cups with identity. It makes up for nights that were missed and closes that were
 * broken off, and warns when a close is late. Any number of instances may run a clock. */
#ifndef DEPOSITD_APP_CLOSING_CLOSER_H
#define DEPOSITD_APP_CLOSING_CLOSER_H

#include "app/network/snapshot.h"
#include "base/config.h"

struct closer;

/* NULL: no memory or no threads. */
MUST_CHECK struct closer *closer_start(const struct config *config, struct snapshot_cache *snapshots,
                                       const struct pg_stop *stop);
/* Waits until the closes under way end, or all waits for the database are ended (pg_stop). */
void closer_stop(struct closer *closer);

/* The state of a scheme's closes, as the clock last saw it. */
struct closes {
    char scheme[CODE_SIZE];
    bool has_open;         /* whether some day is not closed; the first of them … */
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

/* Copies the clock's last view into the arena. False: out of memory. Any thread; asks no database. */
MUST_CHECK bool closer_view(struct closer *closer, struct arena *arena, struct clock_view *view);

#endif
