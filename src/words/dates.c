/* SPDX-License-Identifier: ISC */
/* The names of months and weekdays are words like others. */
#include "words/dates.h"

#include "depositd/civil.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const months[] = {"January", "February", "March",     "April",   "May",      "June",
                                     "July",    "August",   "September", "October", "November", "December"};
/* 1970-01-01, day 0 of a date, was a Thursday. */
static const char *const weekdays[] = {"Thursday", "Friday",  "Saturday", "Sunday",
                                       "Monday",   "Tuesday", "Wednesday"};

void words_date(struct buffer *text, const char *date, bool weekday)
{
    struct date known;
    char number[16];
    if (!date_parse(date, strlen(date), &known)) {
        buffer_add_text(text, date);
        return;
    }
    if (weekday) {
        words_say(text, weekdays[(known.days % 7 + 7) % 7], NULL);
        buffer_add_char(text, ' ');
    }
    snprintf(number, sizeof number, "%u", date_month_day(known).day);
    const char *day = words_within(text->words, "day of the month", number);
    buffer_printf(text, "%s ", day != NULL ? day : number);
    words_say(text, months[strtol(date + strlen("2026-"), NULL, 10) - 1], NULL);
    buffer_printf(text, " %.4s", date);
}
