/* SPDX-License-Identifier: ISC */
/* Reading is strict: each cursor has a single text, and numbers have bounds, so that no hostile text becomes
 * a place that the database could not take. */
#include "http/events/feed_cursor.h"

#include "base/base64url.h"

#include <string.h>

enum {
    VERSION = 1,
    NUMBER_BYTES_MAX = 9, /* 63 bits */
    PLACE_BYTES_MAX = 3 * NUMBER_BYTES_MAX,
    HEAD_BYTES_MAX = 1 + 2 * NUMBER_BYTES_MAX,
};

/* No scheme has more entries: 2 * entry + 1 fits a number. */
#define ENTRY_MAX (INT64_MAX / 2 - 1)

static uint8_t *write_number(uint8_t *at, int64_t number)
{
    uint64_t rest = (uint64_t)number;
    for (; rest > 127; rest >>= 7)
        *at++ = (uint8_t)(rest & 127) | 128;
    *at++ = (uint8_t)rest;
    return at;
}

static bool is_start(const struct feed_place *place)
{
    return place->entry == 0 && place->day == SLICE_START;
}

static int64_t first_day(const struct feed_cursor *cursor)
{
    int64_t first = SLICE_START;
    for (size_t i = 0; i < cursor->count; i++)
        if (cursor->places[i].day != SLICE_START && (first == SLICE_START || cursor->places[i].day < first))
            first = cursor->places[i].day;
    return first == SLICE_START ? 0 : first;
}

static uint8_t *write_place(uint8_t *at, const struct feed_place *place, int32_t scheme_before,
                            int64_t base_day)
{
    bool has_day = place->day != SLICE_START;
    at = write_number(at, place->scheme - scheme_before);
    at = write_number(at, 2 * place->entry + has_day);
    return has_day ? write_number(at, place->day - base_day) : at;
}

const char *feed_cursor_write(const struct feed_cursor *cursor, struct arena *arena)
{
    int64_t base_day = first_day(cursor);
    int32_t scheme_before = 0;
    uint8_t *bytes = arena_array(arena, HEAD_BYTES_MAX + cursor->count * PLACE_BYTES_MAX, 1), *at = bytes;
    if (bytes == NULL)
        return NULL;
    *at++ = VERSION;
    at = write_number(at, cursor->begin);
    at = write_number(at, base_day);
    for (size_t i = 0; i < cursor->count; i++) {
        const struct feed_place *place = &cursor->places[i];
        if (is_start(place))
            continue;
        at = write_place(at, place, scheme_before, base_day);
        scheme_before = place->scheme;
    }
    size_t count = (size_t)(at - bytes);
    char *text = arena_array(arena, BASE64URL_SIZE(count), 1);
    if (text != NULL)
        base64url_write(bytes, count, text);
    return text;
}

struct reading {
    const uint8_t *at, *end;
    bool failed;
};

/* 0 if the number is not there, is beyond `most`, or is longer than it need be. */
static int64_t read_number(struct reading *reading, int64_t most)
{
    uint64_t number = 0;
    uint8_t byte = 128;
    for (int i = 0; i < NUMBER_BYTES_MAX && byte > 127; i++) {
        if (reading->at == reading->end)
            break;
        byte = *reading->at++;
        number |= (uint64_t)(byte & 127) << (7 * i);
        reading->failed = reading->failed || (byte == 0 && i > 0);
    }
    reading->failed = reading->failed || byte > 127 || number > (uint64_t)most;
    return reading->failed ? 0 : (int64_t)number;
}

static void read_place(struct reading *reading, int32_t scheme_before, int64_t base_day,
                       struct feed_place *place)
{
    int64_t ahead = read_number(reading, INT32_MAX - scheme_before);
    int64_t entry = read_number(reading, 2 * ENTRY_MAX + 1);
    bool has_day = (entry & 1) != 0;
    place->scheme = scheme_before + (int32_t)ahead;
    place->entry = entry >> 1;
    place->day = has_day ? base_day + read_number(reading, INT32_MAX - base_day) : SLICE_START;
    reading->failed = reading->failed || ahead == 0 || is_start(place);
}

bool feed_cursor_read(const char *text, struct arena *arena, struct feed_cursor *cursor)
{
    size_t length = strlen(text), count;
    uint8_t *bytes = arena_array(arena, length + 1, 1);
    *cursor = (struct feed_cursor){.places = arena_array(arena, length + 1, sizeof *cursor->places)};
    if (bytes == NULL || cursor->places == NULL || !base64url_read(text, length, bytes, &count))
        return false;
    struct reading reading = {bytes, bytes + count, false};
    reading.failed = read_number(&reading, INT32_MAX) != VERSION;
    cursor->begin = (int32_t)read_number(&reading, INT32_MAX);
    int64_t base_day = read_number(&reading, INT32_MAX);
    for (int32_t before = 0; !reading.failed && reading.at < reading.end;) {
        struct feed_place *place = &cursor->places[cursor->count++];
        read_place(&reading, before, base_day, place);
        before = place->scheme;
    }
    return !reading.failed && base_day == first_day(cursor);
}
