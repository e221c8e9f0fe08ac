/* SPDX-License-Identifier: ISC */
/* The rules for what a scheme has from a business day on. Private to this wing. */
#ifndef DEPOSITD_APP_NETWORK_REFERENCE_DATED_H
#define DEPOSITD_APP_NETWORK_REFERENCE_DATED_H

#include "app/network/reference_rules.h"

MUST_CHECK put_listing put_terms, put_refund_values, put_office_accounts;

#endif
