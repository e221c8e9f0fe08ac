/* SPDX-License-Identifier: ISC */
/* Hauls by linear costs, and the bound that these prove. */
#ifndef DEPOSITD_DOMAIN_HAULS_RELAXED_H
#define DEPOSITD_DOMAIN_HAULS_RELAXED_H

#include "domain/hauls.h"

/* The highest cost of a haul, in minor units, that leaves linear costs their room. */
#define RELAXED_HAUL_MAX INT64_C(1000000000)

/* Meets the shares of each type as if each haul were full. No hauls for the same shares cost less than the
 * bound. False: no memory. */
MUST_CHECK bool hauls_relaxed(const struct trading *trading, struct hauls *hauls, struct money *bound);

#endif
