/* SPDX-License-Identifier: ISC */
/* The rules for agreements between two schemes. Private to this wing. */
#ifndef DEPOSITD_APP_NETWORK_AGREEMENTS_H
#define DEPOSITD_APP_NETWORK_AGREEMENTS_H

#include "app/network/reference_rules.h"

/* An agreement always takes two people: its proposer signs for the scheme that the row says, and the approver
 * signs for the other one. */
MUST_CHECK put_listing put_agreements;

#endif
