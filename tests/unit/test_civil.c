/* SPDX-License-Identifier: ISC */
/* Timestamps, dates and UUIDs: the examples of RFC 3339 and RFC 9562, texts that the grammar refuses, and our
 * calendar against the C library's. */
#include "depositd/civil.h"

#include "suite.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { UNTOUCHED = 4711 };

/* Marks a text that is refused. */
#define REFUSED               INT64_MIN
#define US(seconds, fraction) (INT64_C(seconds) * 1000000 + (fraction))

static const struct {
    const char *text;
    int64_t us;
} instants[] = {
    /* RFC 3339 section 5.8; its last example is of 1937, before our range. */
    {"1985-04-12T23:20:50.52Z", US(482196050, 520000)},
    {"1996-12-19T16:39:57-08:00", US(851042397, 0)},
    {"1996-12-20T00:39:57Z", US(851042397, 0)},
    {"1990-12-31T23:59:60Z", US(662688000, 0)},
    {"1990-12-31T15:59:60-08:00", US(662688000, 0)},
    {"1937-01-01T12:00:27.87+00:20", REFUSED},
    /* Section 5.6: either case; section 4.3: -00:00 is UTC. */
    {"1985-04-12t23:20:50.52z", US(482196050, 520000)},
    {"1996-12-20T00:39:57-00:00", US(851042397, 0)},
    {"1996-12-20T00:39:57+00:00", US(851042397, 0)},
    /* Offsets to the minute, up to the grammar's 23:59. */
    {"2026-05-12T07:30:00-02:30", US(1778580000, 0)},
    {"2026-05-12T15:45:00+05:45", US(1778580000, 0)},
    {"2026-05-13T09:59:00+23:59", US(1778580000, 0)},
    {"2026-05-11T10:01:00-23:59", US(1778580000, 0)},
    /* Leap seconds come only at the end of a day of UTC. */
    {"2016-12-31T23:59:60.25Z", US(1483228800, 250000)},
    {"2016-12-31T20:29:60-03:30", US(1483228800, 0)},
    {"2016-12-31T12:00:60Z", REFUSED},
    {"2016-12-31T23:59:60+01:00", REFUSED},
    {"2016-12-31T23:59:61Z", REFUSED},
    /* Decimals: six count, the rest is cut off, not rounded. */
    {"2026-05-12T10:00:00.1Z", US(1778580000, 100000)},
    {"2026-05-12T10:00:00.000001Z", US(1778580000, 1)},
    {"2026-05-12T10:00:00.9999999Z", US(1778580000, 999999)},
    {"2026-05-12T10:00:00.0000009Z", US(1778580000, 0)},
    {"2026-05-12T10:00:00.12345678901234567890123456789012345678901234567890Z", US(1778580000, 123456)},
    {"2026-05-12T10:00:00.Z", REFUSED},
    {"2026-05-12T10:00:00.", REFUSED},
    {"2026-05-12T10:00:00.123", REFUSED},
    {"2026-05-12T10:00:00,5Z", REFUSED},
    {"2026-05-12T10:00:00.5.5Z", REFUSED},
    {"2026-05-12T10:00:00.-5Z", REFUSED},
    /* The bounds of the range, as written and in UTC. */
    {"1970-01-01T00:00:00Z", 0},
    {"9999-12-31T23:59:59.999999Z", US(253402300799, 999999)},
    {"1969-12-31T23:59:59Z", REFUSED},
    {"1970-01-01T00:00:00+00:01", REFUSED},
    {"1969-12-31T23:59:00-00:01", REFUSED},
    {"9999-12-31T23:59:59-00:01", REFUSED},
    {"9999-12-31T23:59:60Z", REFUSED},
    {"0000-01-01T00:00:00Z", REFUSED},
    /* Days that do not exist. */
    {"2000-02-29T00:00:00Z", US(951782400, 0)},
    {"2024-02-29T00:00:00Z", US(1709164800, 0)},
    {"2023-02-29T00:00:00Z", REFUSED},
    {"2100-02-29T00:00:00Z", REFUSED},
    {"2024-02-30T00:00:00Z", REFUSED},
    {"2026-04-31T00:00:00Z", REFUSED},
    {"2026-01-32T00:00:00Z", REFUSED},
    {"2026-01-00T00:00:00Z", REFUSED},
    {"2026-00-01T00:00:00Z", REFUSED},
    {"2026-13-01T00:00:00Z", REFUSED},
    /* Times and offsets that do not exist: RFC 3339 has no 24:00, unlike ISO 8601. */
    {"2026-05-12T24:00:00Z", REFUSED},
    {"2026-05-12T23:60:00Z", REFUSED},
    {"2026-05-12T10:00:00+24:00", REFUSED},
    {"2026-05-12T10:00:00+01:60", REFUSED},
    {"2026-05-12T10:00:00+1:00", REFUSED},
    {"2026-05-12T10:00:00+0100", REFUSED},
    {"2026-05-12T10:00:00+01", REFUSED},
    {"2026-05-12T10:00:00+01:00:00", REFUSED},
    {"2026-05-12T10:00:00\342\210\22201:00", REFUSED}, /* U+2212, a minus sign, but not of ASCII */
    /* Other forms of ISO 8601, and worse. */
    {"2026-05-12T10:00:00", REFUSED},
    {"2026-05-12T10:00Z", REFUSED},
    {"2026-05-12 10:00:00Z", REFUSED},
    {"2026-05-12", REFUSED},
    {"20260512T100000Z", REFUSED},
    {"2026-132T10:00:00Z", REFUSED},
    {"2026-W20-2T10:00:00Z", REFUSED},
    {"+2026-05-12T10:00:00Z", REFUSED},
    {"12026-05-12T10:00:00Z", REFUSED},
    {"2026-5-12T10:00:00Z", REFUSED},
    {"2026-05-12T10:00:00ZZ", REFUSED},
    {"2026-05-12T10:00:00Z ", REFUSED},
    {" 2026-05-12T10:00:00Z", REFUSED},
    {"2026-05-12T10:00:00Z\n", REFUSED},
    {"2026-05-12T10:00:00[UTC]", REFUSED},
    {"2026/05/12T10:00:00Z", REFUSED},
    {"2026-05-12T10.00.00Z", REFUSED},
    {"2026-05-12T1a:00:00Z", REFUSED},
    {"2026-05-12T-1:00:00Z", REFUSED},
    {"2026-05-12T 1:00:00Z", REFUSED},
    {"", REFUSED},
    {"Z", REFUSED},
};

START_TEST(instants_are_read_strictly)
{
    struct instant instant = {UNTOUCHED};
    const char *text = instants[_i].text;
    bool good = instants[_i].us != REFUSED;

    ck_assert_msg(instant_parse(text, strlen(text), &instant) == good, "\"%s\"", text);
    ck_assert_msg(instant.us == (good ? instants[_i].us : UNTOUCHED), "\"%s\": %" PRId64, text, instant.us);
}
END_TEST

/* Exact allocations let AddressSanitizer see reads past the end. */
START_TEST(cut_instants_are_refused_in_bounds)
{
    static const char text[] = "2026-05-12T10:00:00.5+02:30";
    struct instant instant;
    for (size_t length = 1; length < sizeof text - 1; length++) {
        char *copy = malloc(length);
        ck_assert_ptr_nonnull(copy);
        memcpy(copy, text, length);
        ck_assert_msg(!instant_parse(copy, length, &instant), "%zu bytes", length);
        free(copy);
    }
    ck_assert(!instant_parse("2026-05-12T10:00:00Z\0", 21, &instant));
    ck_assert(!instant_parse("2026-05-12T10:00:00\0Z", 21, &instant));
}
END_TEST

/* Whether a timestamp may stay one if this byte replaces the original byte. */
static bool may_replace(char original, int byte)
{
    if (original == 'T')
        return byte == 'T' || byte == 't';
    if (original == '+')
        return byte == '+' || byte == '-';
    return original >= '0' && original <= '9' ? byte >= '0' && byte <= '9' : byte == original;
}

START_TEST(mangled_instants_are_refused)
{
    static const char text[] = "2026-05-12T10:00:00.5+02:30";
    struct instant instant;
    for (size_t at = 0; at < sizeof text - 1; at++) {
        for (int byte = 0; byte < 256; byte++) {
            char copy[sizeof text];
            memcpy(copy, text, sizeof text);
            copy[at] = (char)byte;
            if (instant_parse(copy, sizeof text - 1, &instant) && !may_replace(text[at], byte))
                ck_abort_msg("byte %d at %zu", byte, at);
        }
    }
}
END_TEST

/* Uniform over the years 1970 to 9999, in microseconds. */
static int64_t random_us(void)
{
    uint64_t bits = (uint64_t)random() << 31 | (uint64_t)random();
    return (int64_t)(bits % (uint64_t)US(253402300800, 0));
}

/* Writes the instant as the C library does. */
static void libc_format(int64_t us, char *text, size_t size)
{
    time_t seconds = us / 1000000;
    struct tm tm;
    gmtime_r(&seconds, &tm);
    size_t length = strftime(text, size, "%Y-%m-%dT%H:%M:%S", &tm);
    snprintf(text + length, size - length, ".%06d", (int)(us % 1000000));
    for (length = strlen(text); text[length - 1] == '0'; length--)
        ;
    length -= text[length - 1] == '.';
    snprintf(text + length, size - length, "Z");
}

START_TEST(instants_agree_with_the_c_library)
{
    srandom(3339);
    for (int i = 0; i < 200000; i++) {
        int64_t us = i % 4 == 0 ? random_us() / 1000000 * 1000000 : random_us();
        char expected[64], text[INSTANT_TEXT_MAX];
        struct instant back;
        libc_format(us, expected, sizeof expected);
        size_t length = instant_format((struct instant){us}, text);
        if (length != strlen(expected) || strcmp(text, expected) != 0)
            ck_abort_msg("%s is not %s", text, expected);
        if (!instant_parse(text, length, &back) || back.us != us)
            ck_abort_msg("%s is not read back", text);
    }
}
END_TEST

/* timegm() takes care of the offset: it accepts minutes out of range. */
START_TEST(offsets_agree_with_the_c_library)
{
    srandom(8601);
    for (int i = 0; i < 100000; i++) {
        struct tm tm = {.tm_year = 71 + (int)(random() % 8000),
                        .tm_mon = (int)(random() % 12),
                        .tm_mday = 1 + (int)(random() % 28),
                        .tm_hour = (int)(random() % 24),
                        .tm_min = (int)(random() % 60),
                        .tm_sec = (int)(random() % 60)};
        int offset = (int)(random() % 2879) - 1439;
        char text[64];
        size_t length = strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%S", &tm);
        snprintf(text + length, sizeof text - length, "%c%02d:%02d", offset < 0 ? '-' : '+', abs(offset) / 60,
                 abs(offset) % 60);
        tm.tm_min -= offset;
        struct instant instant;
        if (!instant_parse(text, strlen(text), &instant) || instant.us != US(1, 0) * timegm(&tm))
            ck_abort_msg("%s", text);
    }
}
END_TEST

/* 400 years are the whole cycle of the Gregorian calendar; the years before and after 1970 to 2370 repeat it.
 */
START_TEST(every_day_of_a_cycle_agrees_with_the_c_library)
{
    for (int32_t days = 0; days < 146097; days++) {
        time_t seconds = (time_t)days * 86400;
        struct tm tm;
        struct date back;
        char text[DATE_TEXT_MAX], expected[64];
        gmtime_r(&seconds, &tm);
        strftime(expected, sizeof expected, "%Y-%m-%d", &tm);
        if (date_format((struct date){days}, text) != 10 || strcmp(text, expected) != 0)
            ck_abort_msg("%s is not %s", text, expected);
        if (!date_parse(text, 10, &back) || back.days != days)
            ck_abort_msg("%s is not read back", text);
    }
}
END_TEST

/* timegm() moves a day that does not exist to one that does. So a day is to be read exactly if timegm() did
 * not move it. */
START_TEST(exactly_the_days_that_exist_are_read)
{
    for (int day = 0; day < 451 * 14 * 33; day++) {
        struct tm asked = {.tm_year = 60 + day / 33 / 14, .tm_mon = day / 33 % 14 - 1, .tm_mday = day % 33};
        struct tm moved = asked;
        int64_t seconds = timegm(&moved);
        bool exists = asked.tm_year >= 70 && moved.tm_mon == asked.tm_mon && moved.tm_mday == asked.tm_mday;
        char text[64];
        struct date date = {0};
        snprintf(text, sizeof text, "%04d-%02d-%02d", asked.tm_year + 1900, asked.tm_mon + 1, asked.tm_mday);
        if (date_parse(text, strlen(text), &date) != exists || date.days != (exists ? seconds / 86400 : 0))
            ck_abort_msg("%s", text);
    }
}
END_TEST

START_TEST(dates_are_read_strictly)
{
    static const char *const wrong[] = {
        "",           "2026",        "2026-05",     "2026-05-1",  "2026-05-123",
        "2026-5-012", "2026-05-12Z", "2026-05-12 ", "26-05-12",   "2026/05/12",
        "20260512",   "2026-05-0a",  "2026-05- 1",  "2026-05-+1", "1969-12-31",
        "10000-01-01"};
    struct date date = {UNTOUCHED};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        ck_assert_msg(!date_parse(wrong[i], strlen(wrong[i]), &date), "\"%s\"", wrong[i]);
    ck_assert(!date_parse("2026-05-1\0", 10, &date));
    ck_assert_int_eq(date.days, UNTOUCHED);

    ck_assert(date_parse("9999-12-31", 10, &date));
    ck_assert_int_eq(date.days, 253402300799 / 86400);
}
END_TEST

/* Arithmetic can give any value of the types. Each must be written legibly and within the text's size. GNU
 * date gives the same values. */
START_TEST(the_ends_of_the_types_are_written)
{
    static const struct {
        int64_t us;
        const char *text;
    } ends[] = {
        {INT64_MIN, "-290308-12-21T19:59:05.224192Z"},
        {INT64_MAX, "294247-01-10T04:00:54.775807Z"},
        {US(-62167219200, 0) - 1, "-0001-12-31T23:59:59.999999Z"},
        {US(-62167219200, 0), "0000-01-01T00:00:00Z"},
        {-1, "1969-12-31T23:59:59.999999Z"},
        {US(253402300800, 0), "10000-01-01T00:00:00Z"},
    };
    for (size_t i = 0; i < sizeof ends / sizeof ends[0]; i++) {
        char text[INSTANT_TEXT_MAX];
        ck_assert_uint_eq(instant_format((struct instant){ends[i].us}, text), strlen(ends[i].text));
        ck_assert_str_eq(text, ends[i].text);
    }
    char text[DATE_TEXT_MAX];
    date_format((struct date){INT32_MIN}, text);
    ck_assert_str_eq(text, "-5877641-06-23");
    date_format((struct date){INT32_MAX}, text);
    ck_assert_str_eq(text, "5881580-07-11");
}
END_TEST

START_TEST(uuids_are_read_and_written)
{
    /* RFC 9562 appendices A.1, A.3 and A.6, and sections 5.9 and 5.10 (nil and max). */
    static const struct {
        const char *text;
        uint8_t bytes[16];
    } cases[] = {
        {"C232AB00-9414-11EC-B3C8-9F6BDECED846",
         {0xc2, 0x32, 0xab, 0x00, 0x94, 0x14, 0x11, 0xec, 0xb3, 0xc8, 0x9f, 0x6b, 0xde, 0xce, 0xd8, 0x46}},
        {"919108f7-52d1-4320-9bac-f847db4148a8",
         {0x91, 0x91, 0x08, 0xf7, 0x52, 0xd1, 0x43, 0x20, 0x9b, 0xac, 0xf8, 0x47, 0xdb, 0x41, 0x48, 0xa8}},
        {"017F22E2-79B0-7cc3-98C4-DC0C0C07398F",
         {0x01, 0x7f, 0x22, 0xe2, 0x79, 0xb0, 0x7c, 0xc3, 0x98, 0xc4, 0xdc, 0x0c, 0x0c, 0x07, 0x39, 0x8f}},
        {"00000000-0000-0000-0000-000000000000", {0}},
        {"ffffffff-FFFF-ffff-FFFF-ffffffffffff",
         {255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255}},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct uuid uuid;
        char text[UUID_TEXT_MAX];
        ck_assert(uuid_parse(cases[i].text, strlen(cases[i].text), &uuid));
        ck_assert_mem_eq(uuid.bytes, cases[i].bytes, 16);
        ck_assert_uint_eq(uuid_format(&uuid, text), 36);
        ck_assert_int_eq(strcasecmp(text, cases[i].text), 0);
        ck_assert_uint_eq(strcspn(text, "ABCDEF"), 36);
    }
}
END_TEST

/* Puts any byte but a hexadecimal digit, or but a hyphen, at any place. */
START_TEST(uuids_are_read_strictly)
{
    static const char good[] = "919108f7-52d1-4320-9bac-f847db4148a8";
    struct uuid uuid = {{42}};
    for (size_t at = 0; at < 36; at++) {
        for (int byte = 0; byte < 256; byte++) {
            char text[sizeof good];
            struct uuid read;
            memcpy(text, good, sizeof good);
            text[at] = (char)byte;
            bool fits =
                good[at] == '-' ? byte == '-' : byte != 0 && strchr("0123456789abcdefABCDEF", byte) != NULL;
            if (uuid_parse(text, 36, &read) != fits)
                ck_abort_msg("byte %d at %zu", byte, at);
        }
    }
    static const char *const wrong[] = {"",
                                        "919108f7-52d1-4320-9bac-f847db4148a",
                                        "919108f7-52d1-4320-9bac-f847db4148a8a",
                                        "919108f752d143209bacf847db4148a8",
                                        "{919108f7-52d1-4320-9bac-f847db4148a8}",
                                        "9191-08f752d1-4320-9bac-f847db4148a8"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        ck_assert_msg(!uuid_parse(wrong[i], strlen(wrong[i]), &uuid), "\"%s\"", wrong[i]);
    ck_assert_uint_eq(uuid.bytes[0], 42);
}
END_TEST

START_TEST(an_instant_has_a_date_and_a_date_a_day_of_its_month)
{
    struct date date;
    ck_assert(date_parse("2024-02-29", 10, &date));
    ck_assert_int_eq(date_month_day(date).day, 29);
    ck_assert_int_eq(date_month_day(date).last, 29);
    ck_assert_int_eq(date_month_day((struct date){date.days + 1}).day, 1);
    ck_assert_int_eq(date_month_day((struct date){date.days + 1}).last, 31);
    const int64_t midnight = (int64_t)date.days * 86400 * 1000000;
    ck_assert_int_eq(instant_date((struct instant){midnight}).days, date.days);
    ck_assert_int_eq(instant_date((struct instant){midnight - 1}).days, date.days - 1);
    ck_assert_int_eq(instant_date((struct instant){-1}).days, -1);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("civil");
    TCase *tests = tcase_create("civil");
    tcase_set_timeout(tests, 30);
    tcase_add_loop_test(tests, instants_are_read_strictly, 0, (int)(sizeof instants / sizeof instants[0]));
    tcase_add_test(tests, cut_instants_are_refused_in_bounds);
    tcase_add_test(tests, mangled_instants_are_refused);
    tcase_add_test(tests, instants_agree_with_the_c_library);
    tcase_add_test(tests, offsets_agree_with_the_c_library);
    tcase_add_test(tests, every_day_of_a_cycle_agrees_with_the_c_library);
    tcase_add_test(tests, exactly_the_days_that_exist_are_read);
    tcase_add_test(tests, dates_are_read_strictly);
    tcase_add_test(tests, the_ends_of_the_types_are_written);
    tcase_add_test(tests, uuids_are_read_and_written);
    tcase_add_test(tests, uuids_are_read_strictly);
    tcase_add_test(tests, an_instant_has_a_date_and_a_date_a_day_of_its_month);
    suite_add_tcase(suite, tests);
    return suite;
}
