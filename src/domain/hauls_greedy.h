/* SPDX-License-Identifier: ISC */
/* Hauls found one after the other. */
#ifndef DEPOSITD_DOMAIN_HAULS_GREEDY_H
#define DEPOSITD_DOMAIN_HAULS_GREEDY_H

#include "domain/hauls.h"

/* False: no memory. */
MUST_CHECK bool hauls_greedy(const struct trading *trading, struct hauls *hauls);

#endif
