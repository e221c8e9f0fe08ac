/* SPDX-License-Identifier: ISC */
/* The clock: a thread that keeps every scheme's calendar ahead of now, and closes the days that are due, in
 * order, also those of nights that were missed and closes that were broken off. Any number of instances may
 * run one. */
#ifndef DEPOSITD_APP_CLOSER_H
#define DEPOSITD_APP_CLOSER_H

#include "app/snapshot.h"
#include "base/config.h"

struct closer;

/* NULL: no memory or no thread. */
MUST_CHECK struct closer *closer_start(const struct config *config, struct snapshot_cache *snapshots);
/* Lets a close under way end, then ends the thread. */
void closer_stop(struct closer *closer);

#endif
