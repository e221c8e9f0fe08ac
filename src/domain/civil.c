/* SPDX-License-Identifier: ISC */
/* Reading and writing timestamps, dates and UUIDs, by hand and in place: each event carries some of them, and
 * sscanf and the C library's calendar cost as much as the rest of its parsing.
 *
 * Calendar arithmetic counts years from 1 March, which puts the leap day last. The lengths of the months from
 * March on then follow (153 * month + 2) / 5, and years follow the Gregorian rule without exceptions. */
#include "depositd/civil.h"

#include <string.h>

enum {
    SECONDS_PER_DAY = 86400,
    US_PER_SECOND = 1000000,
    YEAR_MIN = 1970,
    DATE_LENGTH = 10,     /* YYYY-MM-DD */
    DATE_TIME_LENGTH = 19 /* YYYY-MM-DDTHH:MM:SS */
};

enum {
    DAYS_PER_YEAR = 365,
    DAYS_PER_4_YEARS = 4 * DAYS_PER_YEAR + 1,
    DAYS_PER_400_YEARS = 100 * DAYS_PER_4_YEARS - 3,
    EPOCH_DAYS = 719468, /* from 0000-03-01 to 1970-01-01 */
    /* More 400-year cycles than lie before the earliest date, so that no day is negative when divided. */
    CYCLES_BEFORE = 15000
};

static const int64_t US_PER_DAY = (int64_t)SECONDS_PER_DAY * US_PER_SECOND;
/* 10000-01-01T00:00:00Z */
static const int64_t INSTANT_END_S = INT64_C(253402300800);

struct calendar_day {
    int64_t year;
    unsigned month; /* 1 to 12 */
    unsigned day;   /* 1 to 31 */
};

static unsigned days_before_month(unsigned months_since_march)
{
    return (153 * months_since_march + 2) / 5;
}

static bool is_leap_year(unsigned year)
{
    return year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
}

static unsigned month_length(unsigned year, unsigned month)
{
    if (month == 2)
        return is_leap_year(year) ? 29 : 28;
    unsigned since_march = (month + 9) % 12;
    return days_before_month(since_march + 1) - days_before_month(since_march);
}

static struct date date_from_calendar(unsigned year, unsigned month, unsigned day)
{
    unsigned since_march = (month + 9) % 12;
    unsigned march_year = month < 3 ? year - 1 : year;
    unsigned leap_days = march_year / 4 - march_year / 100 + march_year / 400;
    unsigned days = DAYS_PER_YEAR * march_year + leap_days + days_before_month(since_march) + day - 1;
    return (struct date){(int32_t)days - EPOCH_DAYS};
}

static struct calendar_day calendar_from_date(struct date date)
{
    uint64_t days = (uint64_t)((int64_t)CYCLES_BEFORE * DAYS_PER_400_YEARS + EPOCH_DAYS + date.days);
    /* Four times the days (and a bit, so that the long unit comes last): quarters of a day are whole. */
    uint64_t century = (4 * days + 3) / DAYS_PER_400_YEARS;
    uint64_t day_of_century = days - century * DAYS_PER_400_YEARS / 4;
    uint64_t year_of_century = (4 * day_of_century + 3) / DAYS_PER_4_YEARS;
    unsigned day_of_year = (unsigned)(day_of_century - year_of_century * DAYS_PER_4_YEARS / 4);
    unsigned since_march = (5 * day_of_year + 2) / 153;
    int64_t march_year = (int64_t)(100 * century + year_of_century) - INT64_C(400) * CYCLES_BEFORE;

    return (struct calendar_day){
        .year = since_march < 10 ? march_year : march_year + 1,
        .month = since_march < 10 ? since_march + 3 : since_march - 9,
        .day = day_of_year - days_before_month(since_march) + 1,
    };
}

/* `count` digits; clears *good where one is not, so that a caller checks a whole layout at once. */
static unsigned read_digits(const char *text, int count, bool *good)
{
    unsigned value = 0;
    for (int i = 0; i < count; i++) {
        unsigned digit = (unsigned char)text[i] - (unsigned)'0';
        *good &= digit <= 9;
        value = value * 10 + digit;
    }
    return value;
}

/* In either case: the letters differ from their capitals in this one bit. */
static bool is_letter(char character, char lower_case)
{
    return (character | 0x20) == lower_case;
}

bool date_parse(const char *text, size_t length, struct date *date)
{
    if (length != DATE_LENGTH)
        return false;
    bool good = text[4] == '-' && text[7] == '-';
    unsigned year = read_digits(text, 4, &good);
    unsigned month = read_digits(text + 5, 2, &good);
    unsigned day = read_digits(text + 8, 2, &good);
    if (!good || year < YEAR_MIN || month < 1 || month > 12 || day < 1 || day > month_length(year, month))
        return false;
    *date = date_from_calendar(year, month, day);
    return true;
}

/* HH:MM:SS into seconds of the day. Second 60 is let through: only the offset tells whether it can be. */
static bool time_parse(const char *text, unsigned *seconds, bool *leap)
{
    bool good = text[2] == ':' && text[5] == ':';
    unsigned hour = read_digits(text, 2, &good);
    unsigned minute = read_digits(text + 3, 2, &good);
    unsigned second = read_digits(text + 6, 2, &good);
    if (!good || hour > 23 || minute > 59 || second > 60)
        return false;
    *seconds = (hour * 60 + minute) * 60 + second;
    *leap = second == 60;
    return true;
}

/* The decimals of a second at the front of `text`, if any, without rounding. Returns the bytes used. */
static size_t fraction_parse(const char *text, size_t length, int64_t *us)
{
    size_t at = 1;
    unsigned weight = US_PER_SECOND;

    *us = 0;
    if (length < 2 || text[0] != '.')
        return 0;
    for (; at < length && text[at] >= '0' && text[at] <= '9'; at++) {
        weight /= 10;
        *us += (text[at] - '0') * (int64_t)weight;
    }
    return at > 1 ? at : 0;
}

/* Z, or how far local time is ahead of UTC. RFC 3339 section 4.3: -00:00 is UTC with the place unknown. */
static bool offset_parse(const char *text, size_t length, int *seconds)
{
    if (length == 1 && is_letter(text[0], 'z')) {
        *seconds = 0;
        return true;
    }
    if (length != 6 || (text[0] != '+' && text[0] != '-'))
        return false;
    bool good = text[3] == ':';
    unsigned hour = read_digits(text + 1, 2, &good);
    unsigned minute = read_digits(text + 4, 2, &good);
    if (!good || hour > 23 || minute > 59)
        return false;
    *seconds = (int)(hour * 60 + minute) * (text[0] == '-' ? -60 : 60);
    return true;
}

bool instant_parse(const char *text, size_t length, struct instant *instant)
{
    struct date date;
    unsigned second_of_day;
    bool leap;
    int64_t us;
    int offset_s;

    if (length <= DATE_TIME_LENGTH || !date_parse(text, DATE_LENGTH, &date) ||
        !is_letter(text[DATE_LENGTH], 't') || !time_parse(text + DATE_LENGTH + 1, &second_of_day, &leap))
        return false;
    size_t at = DATE_TIME_LENGTH + fraction_parse(text + DATE_TIME_LENGTH, length - DATE_TIME_LENGTH, &us);
    if (!offset_parse(text + at, length - at, &offset_s))
        return false;

    int64_t seconds = (int64_t)date.days * SECONDS_PER_DAY + second_of_day - offset_s;
    /* An offset can move the year out of bounds. A leap second only ever ends a day of UTC. */
    if (seconds < 0 || seconds >= INSTANT_END_S || (leap && seconds % SECONDS_PER_DAY != 0))
        return false;
    instant->us = seconds * US_PER_SECOND + us;
    return true;
}

/* With leading zeros to `width`. */
static char *put_digits(char *at, uint64_t value, int width)
{
    for (int i = width; i-- > 0; value /= 10)
        at[i] = (char)('0' + value % 10);
    return at + width;
}

/* Only arithmetic leads beyond the years that are read, but a log must still show the result. */
static char *put_date(char *at, struct date date)
{
    struct calendar_day civil = calendar_from_date(date);
    int width = 4;

    if (civil.year < 0)
        *at++ = '-';
    uint64_t year = (uint64_t)(civil.year < 0 ? -civil.year : civil.year);
    for (uint64_t limit = 10000; year >= limit; limit *= 10)
        width++;
    at = put_digits(at, year, width);
    *at++ = '-';
    at = put_digits(at, civil.month, 2);
    *at++ = '-';
    return put_digits(at, civil.day, 2);
}

size_t date_format(struct date date, char text[static DATE_TEXT_MAX])
{
    char *end = put_date(text, date);
    *end = '\0';
    return (size_t)(end - text);
}

struct month_day date_month_day(struct date date)
{
    struct calendar_day civil = calendar_from_date(date);
    return (struct month_day){civil.day, month_length((unsigned)civil.year, civil.month)};
}

struct date instant_date(struct instant instant)
{
    int64_t days = instant.us / US_PER_DAY - (instant.us % US_PER_DAY < 0 ? 1 : 0);
    return (struct date){(int32_t)days};
}

size_t instant_format(struct instant instant, char text[static INSTANT_TEXT_MAX])
{
    int64_t days = instant.us / US_PER_DAY - (instant.us % US_PER_DAY < 0);
    /* Unsigned, because the start of the earliest day lies below the smallest int64. */
    uint64_t us = (uint64_t)instant.us - (uint64_t)days * (uint64_t)US_PER_DAY;
    uint64_t seconds = us / US_PER_SECOND;
    uint64_t fraction = us % US_PER_SECOND;

    char *at = put_date(text, (struct date){(int32_t)days});
    *at++ = 'T';
    at = put_digits(at, seconds / 3600, 2);
    *at++ = ':';
    at = put_digits(at, seconds / 60 % 60, 2);
    *at++ = ':';
    at = put_digits(at, seconds % 60, 2);
    if (fraction != 0) {
        *at++ = '.';
        at = put_digits(at, fraction, 6);
        while (at[-1] == '0')
            at--;
    }
    *at++ = 'Z';
    *at = '\0';
    return (size_t)(at - text);
}

/* Where the hyphens of a UUID are: before the bytes 4, 6, 8 and 10. */
static bool hyphen_before(int byte)
{
    return byte == 4 || byte == 6 || byte == 8 || byte == 10;
}

/* 16 and more: not a hexadecimal digit. */
static unsigned hex_value(char character)
{
    unsigned digit = (unsigned char)character - (unsigned)'0';
    unsigned letter = ((unsigned char)character | 0x20U) - (unsigned)'a';
    if (digit <= 9)
        return digit;
    return letter < 6 ? letter + 10 : 16;
}

bool uuid_parse(const char *text, size_t length, struct uuid *uuid)
{
    struct uuid read;

    if (length != UUID_TEXT_MAX - 1)
        return false;
    for (int i = 0; i < 16; i++) {
        if (hyphen_before(i) && *text++ != '-')
            return false;
        unsigned high = hex_value(*text++);
        unsigned low = hex_value(*text++);
        if ((high | low) > 15)
            return false;
        read.bytes[i] = (uint8_t)(high << 4 | low);
    }
    *uuid = read;
    return true;
}

size_t uuid_format(const struct uuid *uuid, char text[static UUID_TEXT_MAX])
{
    static const char hex[] = "0123456789abcdef";
    char *at = text;

    for (int i = 0; i < 16; i++) {
        if (hyphen_before(i))
            *at++ = '-';
        *at++ = hex[uuid->bytes[i] >> 4];
        *at++ = hex[uuid->bytes[i] & 15];
    }
    *at = '\0';
    return UUID_TEXT_MAX - 1;
}
