/* SPDX-License-Identifier: ISC */
/* Which dates are pay days. */
#include "depositd/pay_days.h"

const char *const weekday_words[] = {
    [MONDAY] = "mon", [TUESDAY] = "tue",  [WEDNESDAY] = "wed", [THURSDAY] = "thu",
    [FRIDAY] = "fri", [SATURDAY] = "sat", [SUNDAY] = "sun",    [WEEKDAYS] = NULL,
};

/* 1970-01-01 was a Thursday. */
enum weekday weekday_of(struct date date)
{
    return (enum weekday)((date.days % WEEKDAYS + WEEKDAYS + THURSDAY) % WEEKDAYS);
}

bool pay_days_include(struct pay_days days, struct date date)
{
    if (days.weekdays != 0)
        return (days.weekdays >> weekday_of(date) & 1) != 0;
    if (days.month_days == 0)
        return true;
    struct month_day at = date_month_day(date);
    uint32_t from_here = days.month_days >> (at.day - 1);
    return (from_here & 1) != 0 || (at.day == at.last && from_here != 0);
}
