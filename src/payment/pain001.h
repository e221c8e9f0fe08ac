/* SPDX-License-Identifier: ISC */
/* pain.001.001.09, CustomerCreditTransferInitiation: payouts, from the pool to participants. */
#ifndef DEPOSITD_PAYMENT_PAIN001_H
#define DEPOSITD_PAYMENT_PAIN001_H

#include "payment/pain.h"

/* Adds the document to the buffer. False: no memory, over the buffer's maximum, or the sum does not fit. */
MUST_CHECK bool pain001_write(struct pain_file *file, struct buffer *xml);

#endif
