/* SPDX-License-Identifier: ISC */
/* The pay days of a scheme: the dates of business days on whose close positions are settled. Pure; any
 * thread. */
#ifndef DEPOSITD_PAY_DAYS_H
#define DEPOSITD_PAY_DAYS_H

#include "depositd/civil.h"

enum weekday { MONDAY, TUESDAY, WEDNESDAY, THURSDAY, FRIDAY, SATURDAY, SUNDAY, WEEKDAYS };
enum { MONTH_DAYS_MAX = 31 };

/* Every day, given weekdays, or given days of the month. If a month lacks a day, its last day stands for it.
 * At most one of the two is set; if neither is, every day is a pay day. */
struct pay_days {
    uint32_t weekdays;   /* bit n: the n of enum weekday */
    uint32_t month_days; /* bit 0: the 1st … bit 30: the 31st */
};

/* By enum weekday, mon to sun; NULL-ended. */
extern const char *const weekday_words[];

enum weekday weekday_of(struct date date);
bool pay_days_include(struct pay_days days, struct date date);

#endif
