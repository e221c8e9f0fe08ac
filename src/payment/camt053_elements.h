/* SPDX-License-Identifier: ISC */
/* The meaning of the elements of a camt.053 message. Each call is about the element at the reading's path. */
#ifndef DEPOSITD_PAYMENT_CAMT053_ELEMENTS_H
#define DEPOSITD_PAYMENT_CAMT053_ELEMENTS_H

#include "payment/camt053_reading.h"

/* Whether the element's text is used. */
bool camt053_has_text(const struct reading *reading);
/* Takes the text, which must be whole. */
void camt053_take_text(struct reading *reading, const char *text);
/* The element begins, or ends. */
void camt053_begin(struct reading *reading);
void camt053_end(struct reading *reading);

#endif
