/* SPDX-License-Identifier: ISC */
/* The structure of a camt.053 message. Each call is about the element at the reading's path. */
#ifndef DEPOSITD_PAYMENT_CAMT053_ELEMENTS_H
#define DEPOSITD_PAYMENT_CAMT053_ELEMENTS_H

#include "payment/camt053_reading.h"

/* The element begins, or ends. */
void camt053_begin(struct reading *reading);
void camt053_end(struct reading *reading);

#endif
