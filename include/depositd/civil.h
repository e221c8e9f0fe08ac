/* SPDX-License-Identifier: ISC */
/* Instants, dates and ids as they are written: RFC 3339 timestamps, YYYY-MM-DD dates, RFC 4122 UUIDs.
 *
 * An instant is in microseconds since 1970-01-01T00:00:00Z, a date in days since 1970-01-01 (proleptic
 * Gregorian). Zones are not known here: the bounds of a business day are data. Pure; any thread. */
#ifndef DEPOSITD_CIVIL_H
#define DEPOSITD_CIVIL_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct instant {
    int64_t us;
};
struct date {
    int32_t days;
};
struct uuid {
    uint8_t bytes[16];
};

enum { INSTANT_TEXT_MAX = 32, DATE_TEXT_MAX = 16, UUID_TEXT_MAX = 37 };

/* RFC 3339 section 5.6 date-time with its offset; years 1970 to 9999; T, Z in either case; at most 6 decimals
 * of a second count, further digits are cut off; a leap second (:60) is read as the second after. False: not
 * one. */
MUST_CHECK bool instant_parse(const char *text, size_t length, struct instant *instant);
/* In UTC with Z; microseconds only where they are not zero, without trailing zeros. Returns the length. */
size_t instant_format(struct instant instant, char text[static INSTANT_TEXT_MAX]);

/* YYYY-MM-DD, years 1970 to 9999. */
MUST_CHECK bool date_parse(const char *text, size_t length, struct date *date);
size_t date_format(struct date date, char text[static DATE_TEXT_MAX]);

/* A date's day of the month, and the last day of that month: both from 1. */
struct month_day {
    unsigned day, last;
};
struct month_day date_month_day(struct date date);

/* The date of an instant in UTC. */
struct date instant_date(struct instant instant);

/* 8-4-4-4-12 hexadecimal digits in either case. Written in lower case. */
MUST_CHECK bool uuid_parse(const char *text, size_t length, struct uuid *uuid);
size_t uuid_format(const struct uuid *uuid, char text[static UUID_TEXT_MAX]);

#endif
