/* SPDX-License-Identifier: ISC */
/* pain.008.001.08, CustomerDirectDebitInitiation: collections, from participants to the pool. */
#ifndef DEPOSITD_PAYMENT_PAIN008_H
#define DEPOSITD_PAYMENT_PAIN008_H

#include "payment/pain.h"

/* Adds the document to the buffer. False: no memory, over the buffer's maximum, or the sum does not fit. */
MUST_CHECK bool pain008_write(struct pain_file *file, struct buffer *xml);

#endif
