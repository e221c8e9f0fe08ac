/* SPDX-License-Identifier: ISC */
/* Dates as people write them. Pure; any thread. */
#ifndef DEPOSITD_WORDS_DATES_H
#define DEPOSITD_WORDS_DATES_H

#include "words/words.h"

/* Adds a date in the buffer's language: "2026-11-27" is "27 November 2026", with its weekday "Friday 27
 * November 2026". Anything but a date is added as it is. Nothing is escaped. */
void words_date(struct buffer *text, const char *date, bool weekday);

#endif
