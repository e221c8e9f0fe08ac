/* SPDX-License-Identifier: ISC */
/* The running service: what `depositd serve` starts, and what every room above can reach. */
#ifndef DEPOSITD_APP_SERVICE_H
#define DEPOSITD_APP_SERVICE_H

#include "app/closer.h"
#include "app/intake.h"
#include "app/probe.h"
#include "app/snapshot.h"
#include "base/config.h"

#include <stdatomic.h>

struct service {
    const struct config *config;
    struct pg_stop stop; /* of all waits on the database */
    struct snapshot_cache *snapshots;
    struct intake *intake;
    struct closer *closer;
    struct probe *probe;
    atomic_flag checking; /* somebody's checks run: they read all rows, and one at a time is enough */
};

#endif
