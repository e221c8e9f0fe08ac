/* SPDX-License-Identifier: ISC */
/* The texts of a camt.053 message. Each call is about the element at the reading's path. */
#ifndef DEPOSITD_PAYMENT_CAMT053_TEXTS_H
#define DEPOSITD_PAYMENT_CAMT053_TEXTS_H

#include "payment/camt053_reading.h"

/* Whether the element's text is used. */
bool camt053_has_text(const struct reading *reading);
/* Takes the text, which must be whole. */
void camt053_take_text(struct reading *reading, const char *text);

#endif
