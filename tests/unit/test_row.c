/* SPDX-License-Identifier: ISC */
/* Rows are read strictly. An unexpected value fails the row; it causes no crash, and is not read as 0.
 *
 * The rows are made by libpq itself (PQmakeEmptyPGresult), without a server. */
#include "store/pg_ask.h"
#include "suite.h"

#include <libpq-fe.h>
#include <stdlib.h>
#include <string.h>

/* Of pg_type.dat. */
enum {
    BOOL = 16,
    BYTEA = 17,
    INT8 = 20,
    INT2 = 21,
    INT4 = 23,
    TEXT = 25,
    DATE = 1082,
    NUMERIC = 1700,
    UUID = 2950
};
enum { INT8_LIST = 1016, COLUMNS_MAX = 4 };

static const struct sql statement = {"test-row", ""};
static struct arena arena;
static struct pg_rows *rows;

/* A row of columns with a type and a text; NULL: null. */
struct column {
    unsigned type;
    const char *text;
};

static void make_rows(const struct column *columns, int column_count, int row_count)
{
    PGresAttDesc descriptions[COLUMNS_MAX] = {0};
    PGresult *result = PQmakeEmptyPGresult(NULL, PGRES_TUPLES_OK);
    char name[] = "column";
    pg_rows_free(&rows);
    for (int i = 0; i < column_count; i++)
        descriptions[i] = (PGresAttDesc){.name = name, .typid = columns[i].type};
    ck_assert_ptr_nonnull(result);
    ck_assert_int_eq(PQsetResultAttrs(result, column_count, descriptions), 1);
    for (int r = 0; r < row_count; r++)
        for (int i = 0; i < column_count; i++) {
            char *text = columns[i].text != NULL ? strdup(columns[i].text) : NULL;
            ck_assert_int_eq(PQsetvalue(result, r, i, text, text != NULL ? (int)strlen(text) : -1), 1);
            free(text);
        }
    rows = (struct pg_rows *)result;
}

static struct pg_row row_of(const struct column *columns, int count)
{
    make_rows(columns, count, 1);
    return (struct pg_row){.rows = rows, .arena = &arena};
}

#define ROW(...)                                                                                             \
    row_of((const struct column[]){__VA_ARGS__},                                                             \
           (int)(sizeof((const struct column[]){__VA_ARGS__}) / sizeof(struct column)))

static void begin(void)
{
    arena_init(&arena, 0);
}

static void end(void)
{
    pg_rows_free(&rows);
    arena_dispose(&arena);
}

/* --- single columns ------------------------------------------------------------------------------------- */

static void read_int(struct pg_row *row)
{
    row_int(row);
}

static void read_int32(struct pg_row *row)
{
    row_int32(row);
}

static void read_int32_or_0(struct pg_row *row)
{
    row_int32_or_0(row);
}

static void read_bool(struct pg_row *row)
{
    row_bool(row);
}

static void read_date(struct pg_row *row)
{
    row_date(row);
}

static void read_instant(struct pg_row *row)
{
    row_instant(row);
}

static void read_uuid(struct pg_row *row)
{
    row_uuid(row);
}

static void read_text(struct pg_row *row)
{
    ck_assert_ptr_nonnull(row_text(row));
}

static void read_code(struct pg_row *row)
{
    char code[4];
    row_text_into(row, code, sizeof code);
}

static void read_copy(struct pg_row *row)
{
    row_copy(row);
}

static void read_word(struct pg_row *row)
{
    const char *const words[] = {"open", "closed"};
    row_word(row, words, 2);
}

static void read_two_bytes(struct pg_row *row)
{
    uint8_t bytes[2];
    row_bytes(row, bytes, sizeof bytes);
}

static void read_ints(struct pg_row *row)
{
    size_t count;
    row_ints(row, &count);
}

static void read_two_ints(struct pg_row *row)
{
    row_ints_of(row, 2);
}

static const struct {
    void (*read)(struct pg_row *row);
    struct column column;
    bool right;
} cells[] = {
    {read_int, {INT8, "9223372036854775807"}, true},
    {read_int, {NUMERIC, "-5"}, true},
    {read_int, {INT2, "7"}, true},
    {read_int, {NUMERIC, "9223372036854775808"}, false},
    {read_int, {NUMERIC, "1.5"}, false},
    {read_int, {TEXT, "12"}, false},
    {read_int, {INT8, NULL}, false},
    {read_int32, {INT4, "-2147483648"}, true},
    {read_int32, {INT8, "2147483648"}, false},
    {read_int32_or_0, {INT4, NULL}, true},
    {read_int32_or_0, {BOOL, "t"}, false},
    {read_bool, {BOOL, "f"}, true},
    {read_bool, {BOOL, NULL}, false},
    {read_bool, {TEXT, "t"}, false},
    {read_date, {DATE, "2026-03-01"}, true},
    {read_date, {DATE, "infinity"}, true},
    {read_date, {DATE, NULL}, false},
    {read_date, {TEXT, "2026-03-01"}, false},
    {read_instant, {INT8, "1700000000000000"}, true},
    {read_instant, {INT8, NULL}, false},
    {read_uuid, {UUID, "00112233-4455-6677-8899-aabbccddeeff"}, true},
    {read_uuid, {TEXT, "00112233-4455-6677-8899-aabbccddeeff"}, false},
    {read_uuid, {UUID, NULL}, false},
    {read_text, {TEXT, ""}, true},
    {read_text, {TEXT, NULL}, false},
    {read_code, {TEXT, "abc"}, true},
    {read_code, {TEXT, "abcd"}, false},
    {read_code, {TEXT, NULL}, false},
    {read_copy, {TEXT, "abc"}, true},
    {read_copy, {TEXT, NULL}, false},
    {read_word, {TEXT, "closed"}, true},
    {read_word, {TEXT, "ajar"}, false},
    {read_word, {TEXT, NULL}, false},
    {read_two_bytes, {BYTEA, "\\x00ff"}, true},
    {read_two_bytes, {BYTEA, "\\x00"}, false},
    {read_two_bytes, {BYTEA, "\\x00ff00"}, false},
    {read_two_bytes, {BYTEA, NULL}, false},
    {read_two_bytes, {TEXT, "\\x00ff"}, false},
    {read_ints, {INT8_LIST, "{}"}, true},
    {read_ints, {INT8_LIST, NULL}, true},
    {read_ints, {INT8_LIST, "{1,-2,3}"}, true},
    {read_ints, {INT8_LIST, "{1,NULL,3}"}, false},
    {read_ints, {INT8_LIST, "{NULL}"}, false},
    {read_ints, {INT8_LIST, "{{1,2},{3,4}}"}, false},
    {read_ints, {INT8_LIST, "[0:1]={1,2}"}, false},
    {read_ints, {INT8_LIST, "{1,9223372036854775808}"}, false},
    {read_ints, {TEXT, "1,2"}, false},
    {read_ints, {TEXT, ""}, false},
    {read_ints, {TEXT, "{1,2"}, false},
    {read_two_ints, {INT8_LIST, "{1,2}"}, true},
    {read_two_ints, {INT8_LIST, "{1}"}, false},
};

START_TEST(a_cell_is_right_or_fails_the_row)
{
    struct pg_row row = row_of(&cells[_i].column, 1);
    cells[_i].read(&row);
    ck_assert_int_eq(row_end(&row), cells[_i].right);
    ck_assert(!row.no_memory);
}
END_TEST

START_TEST(values_are_what_the_text_says)
{
    uint8_t bytes[2], hashes[2];
    size_t count;
    struct pg_row row = ROW({INT8, "-42"}, {BYTEA, "\\x0af0"}, {INT8_LIST, "{5,-6}"}, {DATE, "1970-01-02"});
    ck_assert_int_eq(row_int(&row), -42);
    row_skip(&row);
    const int64_t *numbers = row_ints(&row, &count);
    ck_assert_uint_eq(count, 2);
    ck_assert_int_eq(numbers[0], 5);
    ck_assert_int_eq(numbers[1], -6);
    ck_assert_int_eq(row_date(&row).days, 1);
    ck_assert(row_end(&row));
    row = ROW({BYTEA, "\\x0af0"}, {BYTEA, "\\x0a"}, {BOOL, "t"}, {TEXT, NULL});
    row_bytes(&row, bytes, sizeof bytes);
    ck_assert_mem_eq(bytes, "\x0a\xf0", 2);
    row_hashes(&row, hashes, sizeof hashes); /* of another length: no hash has these bytes */
    ck_assert_mem_eq(hashes, "\xff\xff", 2);
    ck_assert(row_bool(&row));
    ck_assert_str_eq(row_copy_or_empty(&row), "");
    ck_assert(row_end(&row));
}
END_TEST

START_TEST(null_has_a_value_only_where_the_reader_gives_one)
{
    struct pg_row row = ROW({INT8, NULL}, {DATE, NULL}, {INT8, NULL}, {TEXT, NULL});
    ck_assert(row_is_null(&row));
    ck_assert_int_eq(row_int_or_0(&row), 0);
    ck_assert_int_eq(row_date_or(&row, (struct date){5}).days, 5);
    ck_assert_int_eq(row_instant_or(&row, (struct instant){6}).us, 6);
    ck_assert_ptr_null(row_copy_or_null(&row));
    ck_assert(row_end(&row));
}
END_TEST

/* --- rows ----------------------------------------------------------------------------------------------- */

START_TEST(after_a_failure_everything_is_zero)
{
    struct buffer buffer;
    char code[8] = "before";
    struct pg_row row = ROW({TEXT, "x"}, {INT8, "1"}, {TEXT, "y"}, {BOOL, "t"});
    buffer_init(&buffer, 100);
    ck_assert_int_eq(row_int(&row), 0);
    ck_assert_int_eq(row_int(&row), 0);
    ck_assert_str_eq(row_text(&row), "");
    ck_assert(!row_bool(&row));
    row_text_into(&row, code, sizeof code);
    ck_assert_str_eq(code, "");
    ck_assert_ptr_null(row_copy(&row));
    row_append(&row, &buffer);
    ck_assert_uint_eq(buffer.length, 0);
    row_skip_rest(&row);
    ck_assert(!row_end(&row));
    ck_assert_int_eq(row.column, 0); /* for the log */
    buffer_dispose(&buffer);
}
END_TEST

START_TEST(every_column_is_taken)
{
    struct pg_row row = ROW({INT8, "1"}, {INT8, "2"});
    row_int(&row);
    ck_assert(!row_end(&row)); /* one too many */
    row = ROW({INT8, "1"});
    row_int(&row);
    ck_assert(row_is_null(&row));
    row_int_or_0(&row);
    ck_assert(!row_end(&row)); /* one too few */
    row = ROW({INT8, "1"}, {INT8, "2"}, {INT8, "3"});
    row_int(&row);
    row_skip_rest(&row);
    ck_assert(row_end(&row));
}
END_TEST

START_TEST(want_of_memory_fails_the_row)
{
    size_t count;
    arena_dispose(&arena);
    arena_init(&arena, 4);
    struct pg_row row = ROW({TEXT, "longer than the arena"});
    ck_assert_ptr_null(row_copy(&row));
    ck_assert(!row_end(&row));
    ck_assert(row.no_memory);
    row = ROW({INT8_LIST, "{1,2,3}"});
    ck_assert_ptr_null(row_ints(&row, &count));
    ck_assert_uint_eq(count, 0);
    ck_assert(!row_end(&row));
    ck_assert(row.no_memory);
}
END_TEST

/* --- answers -------------------------------------------------------------------------------------------- */

static const struct column number = {INT8, "3"};

START_TEST(a_wrong_number_of_rows_is_a_failure)
{
    int64_t into[2] = {0};
    bool found;
    make_rows(&number, 1, 0);
    ck_assert_int_eq(pg_read(&statement, rows, pg_one(NULL, take_int, into)), STORE_FAILED);
    ck_assert_int_eq(pg_read(&statement, rows, pg_maybe(NULL, take_int, into, &found)), STORE_OK);
    ck_assert(!found);
    make_rows(&number, 1, 1);
    ck_assert_int_eq(pg_read(&statement, rows, pg_one(NULL, take_int, into)), STORE_OK);
    ck_assert_int_eq(into[0], 3);
    ck_assert_int_eq(pg_read(&statement, rows, pg_maybe(NULL, take_int, into, &found)), STORE_OK);
    ck_assert(found);
    ck_assert_int_eq(pg_read(&statement, rows, pg_fill(take_int, into, sizeof *into, 2)), STORE_FAILED);
    make_rows(&number, 1, 2);
    ck_assert_int_eq(pg_read(&statement, rows, pg_one(NULL, take_int, into)), STORE_FAILED);
    ck_assert_int_eq(pg_read(&statement, rows, pg_maybe(NULL, take_int, into, &found)), STORE_FAILED);
    ck_assert_int_eq(pg_read(&statement, rows, pg_fill(take_int, into, sizeof *into, 2)), STORE_OK);
    ck_assert_int_eq(into[1], 3);
}
END_TEST

START_TEST(a_list_is_whole_or_a_failure)
{
    int64_t *list, sum[1];
    size_t count;
    make_rows(&number, 1, 5);
    ck_assert_int_eq(pg_read(&statement, rows, PG_LIST(&arena, take_int, NULL, &list, &count)), STORE_OK);
    ck_assert_uint_eq(count, 5);
    ck_assert_int_eq(list[4], 3);
    ck_assert_int_eq(pg_read(&statement, rows, pg_first(NULL, take_int, sum, &count)), STORE_OK);
    ck_assert_uint_eq(count, 5);
    arena_dispose(&arena);
    arena_init(&arena, 4);
    ck_assert_int_eq(pg_read(&statement, rows, PG_LIST(&arena, take_int, NULL, &list, &count)), STORE_FAILED);
    make_rows(&(struct column){TEXT, "3"}, 1, 5);
    ck_assert_int_eq(pg_read(&statement, rows, pg_each(NULL, take_int, sum)), STORE_FAILED);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("row");
    TCase *tests = tcase_create("reading");
    tcase_add_checked_fixture(tests, begin, end);
    tcase_add_loop_test(tests, a_cell_is_right_or_fails_the_row, 0, (int)(sizeof cells / sizeof cells[0]));
    tcase_add_test(tests, values_are_what_the_text_says);
    tcase_add_test(tests, null_has_a_value_only_where_the_reader_gives_one);
    tcase_add_test(tests, after_a_failure_everything_is_zero);
    tcase_add_test(tests, every_column_is_taken);
    tcase_add_test(tests, want_of_memory_fails_the_row);
    tcase_add_test(tests, a_wrong_number_of_rows_is_a_failure);
    tcase_add_test(tests, a_list_is_whole_or_a_failure);
    suite_add_tcase(suite, tests);
    return suite;
}
