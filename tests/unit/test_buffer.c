/* SPDX-License-Identifier: ISC */
/* The two kinds of memory in which texts and rows are made: buffers, which grow to a maximum, and arenas. */
#include "base/arena.h"
#include "base/buffer.h"
#include "suite.h"

#include <sanitizer/asan_interface.h>
#include <stdalign.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* More than any machine gives. AddressSanitizer has to be told that asking for it is no error. */
static volatile size_t absurd_size = PTRDIFF_MAX / 2;

const char *__asan_default_options(void);
const char *__asan_default_options(void)
{
    return "allocator_may_return_null=1";
}

static struct buffer buffer;

static void begin(void)
{
    buffer_init(&buffer, 10);
}

static void end(void)
{
    buffer_dispose(&buffer);
}

START_TEST(pieces_are_joined)
{
    buffer_init(&buffer, 1000);
    buffer_add_text(&buffer, "entry ");
    buffer_add_integer(&buffer, 42);
    buffer_add_char(&buffer, ',');
    buffer_printf(&buffer, " %s %05.1f", "leg", 2.5);
    buffer_add(&buffer, "\0x", 2);
    ck_assert(!buffer.failed);
    ck_assert_uint_eq(buffer.length, 21);
    ck_assert_mem_eq(buffer.data, "entry 42, leg 002.5\0x", 22);
}
END_TEST

START_TEST(integers_are_written_as_printf_does)
{
    static const int64_t numbers[] = {0, 1, -1, 9, 10, -10, 1234567890, INT64_MAX, INT64_MIN};
    buffer_init(&buffer, 1000);
    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
        char expected[32];
        snprintf(expected, sizeof expected, "%lld", (long long)numbers[i]);
        buffer_reset(&buffer);
        buffer_add_integer(&buffer, numbers[i]);
        ck_assert_str_eq(buffer.data, expected);
    }
}
END_TEST

START_TEST(exactly_the_maximum_fits)
{
    buffer_add_text(&buffer, "0123456789");
    ck_assert(!buffer.failed);
    ck_assert_str_eq(buffer.data, "0123456789");
    buffer_add(&buffer, "", 0);
    ck_assert(!buffer.failed);
    buffer_add_char(&buffer, 'x');
    ck_assert(buffer.failed);
    ck_assert_str_eq(buffer.data, "0123456789");
}
END_TEST

START_TEST(after_a_failure_nothing_is_added_until_reset)
{
    size_t length;
    buffer_add_text(&buffer, "01234");
    buffer_add_text(&buffer, "567890");
    ck_assert(buffer.failed);
    buffer_add_char(&buffer, 'x');
    buffer_add_integer(&buffer, 1);
    buffer_printf(&buffer, "%d", 1);
    buffer_add_json_string(&buffer, "", 0);
    ck_assert_str_eq(buffer.data, "01234");
    ck_assert_ptr_null(buffer_take(&buffer, &length));

    buffer_reset(&buffer);
    ck_assert_str_eq(buffer.data, "");
    buffer_add_text(&buffer, "again");
    ck_assert(!buffer.failed);
    ck_assert_str_eq(buffer.data, "again");
}
END_TEST

START_TEST(printf_over_the_maximum_is_dropped_whole)
{
    buffer_add_text(&buffer, "0123");
    buffer_printf(&buffer, "%s", "456789x");
    ck_assert(buffer.failed);
    ck_assert_str_eq(buffer.data, "0123");
    ck_assert_uint_eq(buffer.length, 4);
}
END_TEST

/* U+20AC has no form in the C locale that a test starts in. */
START_TEST(printf_that_cannot_convert_is_a_failure)
{
    buffer_printf(&buffer, "%ls", L"\x20ac");
    ck_assert(buffer.failed);
}
END_TEST

START_TEST(lengths_that_would_wrap_are_refused)
{
    buffer_init(&buffer, SIZE_MAX - 1);
    buffer_add_char(&buffer, 'x');
    buffer_add(&buffer, "y", SIZE_MAX);
    ck_assert(buffer.failed);
    ck_assert_uint_eq(buffer.length, 1);
}
END_TEST

START_TEST(out_of_memory_is_a_failure)
{
    buffer_init(&buffer, SIZE_MAX - 1);
    buffer_add_char(&buffer, 'x');
    buffer_add(&buffer, "y", absurd_size);
    ck_assert(buffer.failed);
    ck_assert_str_eq(buffer.data, "x");
}
END_TEST

START_TEST(growing_keeps_the_content)
{
    buffer_init(&buffer, 100000);
    for (int i = 0; i < 100000; i++)
        buffer_add_char(&buffer, (char)('a' + i % 26));
    ck_assert(!buffer.failed);
    for (int i = 0; i < 100000; i++)
        if (buffer.data[i] != 'a' + i % 26)
            ck_abort_msg("byte %d", i);
    ck_assert_uint_le(buffer.capacity, 100001);
}
END_TEST

START_TEST(taking_leaves_it_empty_and_of_use)
{
    size_t length;
    buffer_add_text(&buffer, "first");
    char *first = buffer_take(&buffer, &length);
    ck_assert_str_eq(first, "first");
    ck_assert_uint_eq(length, 5);
    ck_assert_uint_eq(buffer.length, 0);
    buffer_add_text(&buffer, "second");
    ck_assert_str_eq(buffer.data, "second");
    free(first);
}
END_TEST

START_TEST(nothing_can_be_taken_as_an_empty_text)
{
    size_t length = 1;
    char *nothing = buffer_take(&buffer, &length);
    ck_assert_str_eq(nothing, "");
    ck_assert_uint_eq(length, 0);
    free(nothing);
}
END_TEST

static const struct {
    const char *text;
    size_t length;
    const char *json;
} strings[] = {
    /* RFC 8785 section 3.2.2, the example's string after parsing and after serialising. */
    {"\342\202\254$\017\nA'B\"\\\\\"/", 14, "\"\342\202\254$\\u000f\\nA'B\\\"\\\\\\\\\\\"/\""},
    /* Section 3.2.2.2: short forms where they exist, \u00xx in lower case for other controls, all else
     * unchanged. */
    {"\b\t\n\f\r\"\\", 7, "\"\\b\\t\\n\\f\\r\\\"\\\\\""},
    {"\0\1\v\x1f", 4, "\"\\u0000\\u0001\\u000b\\u001f\""},
    {"\x7f \302\200 / <&>", 10, "\"\x7f \302\200 / <&>\""},
    {"\342\200\250\360\237\230\200", 7, "\"\342\200\250\360\237\230\200\""}, /* U+2028, U+1F600 */
    {"", 0, "\"\""},
    {"\\", 1, "\"\\\\\""},
    {"cut here", 3, "\"cut\""},
};

START_TEST(json_strings_are_escaped_as_rfc_8785_has_it)
{
    buffer_init(&buffer, 1000);
    buffer_add_json_string(&buffer, strings[_i].text, strings[_i].length);
    ck_assert(!buffer.failed);
    ck_assert_str_eq(buffer.data, strings[_i].json);
}
END_TEST

START_TEST(json_string_over_the_maximum_fails)
{
    buffer_add_json_string(&buffer, "\1\1", 2);
    ck_assert(buffer.failed);
    ck_assert_uint_le(buffer.length, 10);
}
END_TEST

static struct arena arena;

START_TEST(arena_memory_is_zeroed_aligned_and_apart)
{
    char *before = NULL;
    arena_init(&arena, 0);
    for (size_t size = 0; size < 3000; size++) {
        char *memory = arena_alloc(&arena, size);
        ck_assert(memory && memory != before && (uintptr_t)memory % alignof(max_align_t) == 0);
        for (size_t i = 0; i < size; i++)
            if (memory[i] != 0)
                ck_abort_msg("byte %zu of %zu", i, size);
        memset(memory, 0xa5, size);
        before = memory;
    }
    arena_dispose(&arena);
}
END_TEST

START_TEST(arena_is_zeroed_again_after_reset)
{
    arena_init(&arena, 0);
    char *first = arena_alloc(&arena, 100);
    ck_assert_ptr_nonnull(first);
    memset(first, 0xa5, 100);
    ck_assert_ptr_nonnull(arena_alloc(&arena, 1000000));
    ck_assert_uint_gt(arena_held(&arena), 1000100);
    arena_reset(&arena);
    ck_assert_uint_eq(arena.used, 0);
    ck_assert_uint_lt(arena_held(&arena), 10000);
    char *again = arena_alloc(&arena, 100);
    ck_assert_ptr_eq(again, first); /* the block was kept */
    for (int i = 0; i < 100; i++)
        ck_assert_int_eq(again[i], 0);
    arena_dispose(&arena);
    ck_assert_uint_eq(arena_held(&arena), 0);
}
END_TEST

START_TEST(arena_stops_at_its_maximum)
{
    arena_init(&arena, 1024);
    ck_assert_ptr_nonnull(arena_alloc(&arena, 512));
    ck_assert_ptr_null(arena_alloc(&arena, 513));
    ck_assert_ptr_nonnull(arena_alloc(&arena, 512));
    ck_assert_ptr_null(arena_alloc(&arena, 0));
    arena_reset(&arena);
    ck_assert_ptr_nonnull(arena_alloc(&arena, 1024));
    arena_dispose(&arena);
}
END_TEST

START_TEST(arena_refuses_sizes_that_would_wrap)
{
    arena_init(&arena, 0);
    ck_assert_ptr_null(arena_alloc(&arena, SIZE_MAX));
    ck_assert_ptr_null(arena_alloc(&arena, PTRDIFF_MAX));
    ck_assert_ptr_null(arena_alloc(&arena, absurd_size)); /* out of memory */
    ck_assert_ptr_null(arena_array(&arena, SIZE_MAX / 2 + 2, 2));
    ck_assert_ptr_null(arena_copy(&arena, "", SIZE_MAX));
    ck_assert_uint_eq(arena.used, 0);
    ck_assert_ptr_nonnull(arena_array(&arena, 0, 8));
    arena_dispose(&arena);
}
END_TEST

#ifdef __SANITIZE_ADDRESS__
START_TEST(arena_poisons_what_is_not_handed_out)
{
    arena_init(&arena, 0);
    char *memory = arena_alloc(&arena, 13);
    ck_assert(!__asan_address_is_poisoned(memory + 12));
    ck_assert(__asan_address_is_poisoned(memory + 13));
    arena_reset(&arena);
    ck_assert(__asan_address_is_poisoned(memory));
    arena_dispose(&arena);
}
END_TEST
#endif

START_TEST(arena_copies_are_terminated)
{
    arena_init(&arena, 0);
    ck_assert_str_eq(arena_copy(&arena, "anchor and more", 6), "anchor");
    ck_assert_str_eq(arena_copy(&arena, NULL, 0), "");
    ck_assert_mem_eq(arena_copy(&arena, "a\0b", 3), "a\0b", 4);
    arena_dispose(&arena);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("buffer");
    TCase *tests = tcase_create("buffer");
    tcase_add_checked_fixture(tests, begin, end);
    tcase_add_test(tests, pieces_are_joined);
    tcase_add_test(tests, integers_are_written_as_printf_does);
    tcase_add_test(tests, exactly_the_maximum_fits);
    tcase_add_test(tests, after_a_failure_nothing_is_added_until_reset);
    tcase_add_test(tests, printf_over_the_maximum_is_dropped_whole);
    tcase_add_test(tests, printf_that_cannot_convert_is_a_failure);
    tcase_add_test(tests, lengths_that_would_wrap_are_refused);
    tcase_add_test(tests, out_of_memory_is_a_failure);
    tcase_add_test(tests, growing_keeps_the_content);
    tcase_add_test(tests, taking_leaves_it_empty_and_of_use);
    tcase_add_test(tests, nothing_can_be_taken_as_an_empty_text);
    tcase_add_loop_test(tests, json_strings_are_escaped_as_rfc_8785_has_it, 0,
                        (int)(sizeof strings / sizeof strings[0]));
    tcase_add_test(tests, json_string_over_the_maximum_fails);
    suite_add_tcase(suite, tests);

    TCase *arenas = tcase_create("arena");
    tcase_add_test(arenas, arena_memory_is_zeroed_aligned_and_apart);
    tcase_add_test(arenas, arena_is_zeroed_again_after_reset);
    tcase_add_test(arenas, arena_stops_at_its_maximum);
    tcase_add_test(arenas, arena_refuses_sizes_that_would_wrap);
    tcase_add_test(arenas, arena_copies_are_terminated);
#ifdef __SANITIZE_ADDRESS__
    tcase_add_test(arenas, arena_poisons_what_is_not_handed_out);
#endif
    suite_add_tcase(suite, arenas);
    return suite;
}
