/* SPDX-License-Identifier: ISC */
/* Trips by linear costs, and the bound that these prove. */
#ifndef DEPOSITD_DOMAIN_TRIPS_RELAXED_H
#define DEPOSITD_DOMAIN_TRIPS_RELAXED_H

#include "domain/trips.h"

/* The highest cost of a trip, in minor units, that leaves linear costs their room. */
#define RELAXED_TRIP_MAX INT64_C(1000000000)

/* Meets the shares of each type as if each trip were full. No trips for the same shares cost less than the
 * bound. False: no memory. */
MUST_CHECK bool trips_relaxed(const struct trading *trading, struct trips *trips, struct money *bound);

#endif
