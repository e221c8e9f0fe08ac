/* SPDX-License-Identifier: ISC */
/* The running service, which `depositd serve` starts and every room above can reach. */
#ifndef DEPOSITD_APP_SERVICE_SERVICE_H
#define DEPOSITD_APP_SERVICE_SERVICE_H

#include "app/closing/closer.h"
#include "app/network/snapshot.h"
#include "app/posting/groups.h"
#include "app/service/feed_watch.h"
#include "app/service/probe.h"
#include "base/config.h"

#include <stdatomic.h>

struct service {
    const struct config *config;
    struct pg_stop stop; /* stops all waits for the database */
    struct snapshot_cache *snapshots;
    struct groups *groups;
    struct closer *closer;
    struct probe *probe;
    struct feed_watch *feed_watch;
    atomic_flag checking; /* a thread is running the checks: they read all rows, so only one run at a time is
                             allowed */
    atomic_flag planning; /* a thread is making a plan of moves, which may take a processor for a minute */
};

#endif
