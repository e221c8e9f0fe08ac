/* SPDX-License-Identifier: ISC */
/* The running service: what `depositd serve` starts, and what every room above can reach. */
#ifndef DEPOSITD_APP_SERVICE_SERVICE_H
#define DEPOSITD_APP_SERVICE_SERVICE_H

#include "app/closing/closer.h"
#include "app/network/snapshot.h"
#include "app/posting/intake.h"
#include "app/service/probe.h"
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
