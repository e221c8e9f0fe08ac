/* SPDX-License-Identifier: ISC */
/* Trips found one after the other. */
#ifndef DEPOSITD_DOMAIN_TRIPS_GREEDY_H
#define DEPOSITD_DOMAIN_TRIPS_GREEDY_H

#include "domain/trips.h"

/* False: no memory. */
MUST_CHECK bool trips_greedy(const struct trading *trading, struct trips *trips);

#endif
