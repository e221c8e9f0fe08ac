/* SPDX-License-Identifier: ISC */
/* The rules for reference data that fees depend on. Private to this wing. */
#ifndef DEPOSITD_APP_NETWORK_REFERENCE_FEES_H
#define DEPOSITD_APP_NETWORK_REFERENCE_FEES_H

#include "app/network/reference_rules.h"

/* Checks the rows of fees of the current row, which is of terms. */
MUST_CHECK enum store_result check_fee_rows(struct change *change, const struct reference_list *fees,
                                            int decimals);

/* Check and put a row of the kind. */
MUST_CHECK enum store_result put_tax_registration(struct change *change, const void *given);
MUST_CHECK enum store_result put_site_kind(struct change *change, const void *given);

#endif
