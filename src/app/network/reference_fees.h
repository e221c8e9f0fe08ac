/* SPDX-License-Identifier: ISC */
/* The rules for what fees depend on. Private to this wing. */
#ifndef DEPOSITD_APP_NETWORK_REFERENCE_FEES_H
#define DEPOSITD_APP_NETWORK_REFERENCE_FEES_H

#include "app/network/reference_rules.h"

/* Checks the rows of fees of each terms of the listing, whose `facts` tell their decimals. Terms that name
 * something unknown are left out. */
MUST_CHECK enum store_result check_fees(struct change *change, const struct listing *listing,
                                        const struct dating_facts *facts);

MUST_CHECK put_listing put_tax_registrations, put_site_kinds;

#endif
