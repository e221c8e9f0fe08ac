/* SPDX-License-Identifier: ISC */
/* The rules for the things of a network. Private to this wing. */
#ifndef DEPOSITD_APP_NETWORK_REFERENCE_THINGS_H
#define DEPOSITD_APP_NETWORK_REFERENCE_THINGS_H

#include "app/network/reference_rules.h"

MUST_CHECK put_listing put_cup_types, put_participants, put_schemes, put_sites;

#endif
