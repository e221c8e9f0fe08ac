/* SPDX-License-Identifier: ISC */
/* The cursor of a feed of many schemes, and the text that its bytes become. */
#include "suite.h"

#include "base/base64url.h"
#include "http/events/feed_cursor.h"

#include <stdlib.h>
#include <string.h>

enum { SCHEMES = 700, HEAD_MAX = 8000, ROUNDS = 2000 };

/* RFC 4648 section 10, without the padding that section 3.2 lets us leave out; and two texts of section 5's
 * own digits, whose bits are all ones and all but ones. */
static const struct {
    const char *bytes, *text;
} vectors[] = {
    {"", ""},
    {"f", "Zg"},
    {"fo", "Zm8"},
    {"foo", "Zm9v"},
    {"foob", "Zm9vYg"},
    {"fooba", "Zm9vYmE"},
    {"foobar", "Zm9vYmFy"},
    {"\xff\xff\xff", "____"},
    {"\xfb\xef\xbe", "----"},
};

START_TEST(published_texts)
{
    for (size_t i = 0; i < sizeof vectors / sizeof vectors[0]; i++) {
        char text[16];
        uint8_t bytes[16];
        size_t count = strlen(vectors[i].bytes), read;
        base64url_write((const uint8_t *)vectors[i].bytes, count, text);
        ck_assert_str_eq(text, vectors[i].text);
        ck_assert_uint_lt(strlen(text), BASE64URL_SIZE(count));
        ck_assert(base64url_read(text, strlen(text), bytes, &read));
        ck_assert_uint_eq(read, count);
        ck_assert_mem_eq(bytes, vectors[i].bytes, count);
    }
}
END_TEST

START_TEST(texts_of_no_bytes)
{
    static const char *const texts[] = {
        "Z", "Zh", "Zm9", "Zm9vY", "Zg==", "Zm+v", "Zm/v", "Z g", "Zg\n", "\xc3\xa9"};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        uint8_t bytes[16];
        size_t count;
        ck_assert_msg(!base64url_read(texts[i], strlen(texts[i]), bytes, &count), "%s", texts[i]);
    }
}
END_TEST

static void assert_comes_back(const struct feed_cursor *cursor, struct arena *arena)
{
    struct feed_cursor read;
    const char *text = feed_cursor_write(cursor, arena);
    ck_assert_ptr_nonnull(text);
    ck_assert(feed_cursor_read(text, arena, &read));
    ck_assert_int_eq(read.begin, cursor->begin);
    size_t at = 0;
    for (size_t i = 0; i < cursor->count; i++) {
        const struct feed_place *place = &cursor->places[i];
        if (place->entry == 0 && place->day == SLICE_START)
            continue;
        ck_assert_uint_lt(at, read.count);
        ck_assert_int_eq(read.places[at].scheme, place->scheme);
        ck_assert_int_eq(read.places[at].entry, place->entry);
        ck_assert_int_eq(read.places[at].day, place->day);
        at++;
    }
    ck_assert_uint_eq(at, read.count);
    ck_assert_str_eq(feed_cursor_write(&read, arena), text);
}

START_TEST(places_come_back)
{
    struct feed_place places[] = {
        {1, 1, SLICE_START},     {2, 0, SLICE_START}, {3, 0, 20000},
        {130, 127, SLICE_START}, {131, 128, 20001},   {20000, INT64_MAX / 2 - 1, INT32_MAX},
        {INT32_MAX, 1, 0},
    };
    struct arena arena;
    arena_init(&arena, 0);
    for (size_t count = 0; count <= sizeof places / sizeof places[0]; count++)
        for (int32_t begin = 0; begin < 300; begin += 100)
            assert_comes_back(&(struct feed_cursor){begin, places, count}, &arena);
    arena_dispose(&arena);
}
END_TEST

/* Each scheme has a hundred million entries, and stands after the cut of a day. */
START_TEST(many_places_fit_the_head_of_a_request)
{
    static struct feed_place places[SCHEMES];
    struct arena arena;
    arena_init(&arena, 0);
    for (int i = 0; i < SCHEMES; i++)
        places[i] = (struct feed_place){i + 1, 100000000 + i, 20000 + i % 2};
    const struct feed_cursor cursor = {SCHEMES, places, SCHEMES};
    assert_comes_back(&cursor, &arena);
    ck_assert_uint_lt(strlen(feed_cursor_write(&cursor, &arena)), HEAD_MAX - 1500);
    arena_dispose(&arena);
}
END_TEST

START_TEST(no_other_text_is_a_cursor)
{
    static const char *const texts[] = {
        "",                         /* no version */
        "AA",                       /* version 0 */
        "AQ",                       /* no numbers */
        "AQA",                      /* not a text of bytes */
        "AQAAAQ",                   /* a scheme without a place */
        "AQAAAAI",                  /* the same scheme as the one before the first */
        "AQAAAQA",                  /* a place at the start */
        "AQAAAQCA",                 /* a number that does not end */
        "AQAAAYIA",                 /* a number with a needless byte */
        "AQABAQI",                  /* a base day without a day */
        "AQAAAQ_________________8", /* a number beyond 63 bits */
    };
    struct arena arena;
    arena_init(&arena, 0);
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        struct feed_cursor cursor;
        ck_assert_msg(!feed_cursor_read(texts[i], &arena, &cursor), "%s", texts[i]);
    }
    arena_dispose(&arena);
}
END_TEST

/* Places that are read are within bounds, and have this text alone. */
START_TEST(random_texts)
{
    static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
    unsigned read_count = 0;
    srand(4648);
    for (int round = 0; round < ROUNDS; round++) {
        char text[48] = "AQAA";
        struct feed_cursor cursor;
        struct arena arena;
        arena_init(&arena, 0);
        size_t length = 4 + (size_t)rand() % 12;
        for (size_t i = 4; i < length; i++)
            text[i] = digits[rand() % 64];
        text[length] = '\0';
        if (feed_cursor_read(text, &arena, &cursor)) {
            read_count++;
            for (size_t i = 0; i < cursor.count; i++) {
                ck_assert_int_gt(cursor.places[i].scheme, i > 0 ? cursor.places[i - 1].scheme : 0);
                ck_assert_int_ge(cursor.places[i].entry, 0);
                ck_assert(cursor.places[i].day >= SLICE_START && cursor.places[i].day <= INT32_MAX);
            }
            ck_assert_str_eq(feed_cursor_write(&cursor, &arena), text);
        }
        arena_dispose(&arena);
    }
    ck_assert_uint_gt(read_count, 10);
}
END_TEST

Suite *file_suite(void)
{
    TCase *cases = tcase_create("cursors");
    tcase_add_test(cases, published_texts);
    tcase_add_test(cases, texts_of_no_bytes);
    tcase_add_test(cases, places_come_back);
    tcase_add_test(cases, many_places_fit_the_head_of_a_request);
    tcase_add_test(cases, no_other_text_is_a_cursor);
    tcase_add_test(cases, random_texts);
    Suite *suite = suite_create("feed_cursor");
    suite_add_tcase(suite, cases);
    return suite;
}
