/* SPDX-License-Identifier: ISC */
/* The part of a close that seals the day. */
#ifndef DEPOSITD_APP_CLOSING_CLOSE_SEAL_H
#define DEPOSITD_APP_CLOSING_CLOSE_SEAL_H

#include "app/closing/closing.h"

/* Seals the day. All its entries must have been appended, and its positions and payments found. */
MUST_CHECK enum store_result close_seal(struct closing *closing);

#endif
