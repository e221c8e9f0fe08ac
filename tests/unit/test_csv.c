/* SPDX-License-Identifier: ISC */
/* The reader of CSV: each example of RFC 4180 section 2 by its number, what spreadsheets make of the same
 * table, and each fault with the cell and line that it is found at. */
#include "base/csv.h"

#include "suite.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SHOWN_MAX = 4096 };

/* Each record as "line:[cell][cell]", a faulty cell with the number of its fault. */
static const char *shown(const char *text, size_t length)
{
    static char all[SHOWN_MAX];
    char *copy = malloc(length + 1);
    struct csv csv;
    struct csv_record record;
    size_t end = 0;
    memcpy(copy, text, length);
    copy[length] = '\xff'; /* the byte of room may be anything */
    all[0] = '\0';
    csv_begin(&csv, copy, length);
    while (csv_read(&csv, &record)) {
        end += (size_t)snprintf(all + end, sizeof all - end, "%zu:", record.line);
        for (size_t i = 0; i < record.count && i < CSV_CELLS_MAX; i++) {
            ck_assert(record.cells[i].text[record.cells[i].length] == '\0');
            end += (size_t)snprintf(all + end, sizeof all - end, "[%s]", record.cells[i].text);
            if (record.cells[i].fault != CSV_FINE)
                end += (size_t)snprintf(all + end, sizeof all - end, "!%d", (int)record.cells[i].fault);
        }
    }
    free(copy);
    return all;
}

static const struct {
    const char *text, *records;
} cases[] = {
    /* RFC 4180 section 2, the examples of items 1 to 7 */
    {"aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", "1:[aaa][bbb][ccc]2:[zzz][yyy][xxx]"},
    {"aaa,bbb,ccc\r\nzzz,yyy,xxx", "1:[aaa][bbb][ccc]2:[zzz][yyy][xxx]"},
    {"field_name,field_name,field_name\r\naaa,bbb,ccc\r\nzzz,yyy,xxx\r\n",
     "1:[field_name][field_name][field_name]2:[aaa][bbb][ccc]3:[zzz][yyy][xxx]"},
    {"aaa,bbb,ccc", "1:[aaa][bbb][ccc]"},
    {"\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx", "1:[aaa][bbb][ccc]2:[zzz][yyy][xxx]"},
    {"\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx", "1:[aaa][b\r\nbb][ccc]3:[zzz][yyy][xxx]"},
    {"\"aaa\",\"b\"\"bb\",\"ccc\"", "1:[aaa][b\"bb][ccc]"},
    /* item 4: spaces are part of a field */
    {" aaa ,bbb\t", "1:[ aaa ][bbb\t]"},
    /* the forms that spreadsheets write */
    {"aaa,bbb\nzzz,yyy\n", "1:[aaa][bbb]2:[zzz][yyy]"},
    {"\xef\xbb\xbf"
     "aaa,bbb\n",
     "1:[aaa][bbb]"},
    {"aaa;bbb\n1,5;\"a;b\"\n", "1:[aaa][bbb]2:[1,5][a;b]"},
    {"aaa,b;b\nzzz,y;y", "1:[aaa][b;b]2:[zzz][y;y]"},
    {"aaa\nz;z,y\n", "1:[aaa]2:[z;z][y]"},
    {"=1+1,@x,-2,\"=cmd(\"\"a\"\")\"", "1:[=1+1][@x][-2][=cmd(\"a\")]"},
    /* empty cells, lines and files */
    {"", ""},
    {"\xef\xbb\xbf", ""},
    {"\n", "1:[]"},
    {"a,,c\n,,\n\n\"\",b,", "1:[a][][c]2:[][][]3:[]4:[][b][]"},
    {"a\n\"\n\n\"\nb", "1:[a]2:[\n\n]5:[b]"},
    {"\"\"\"\"", "1:[\"]"},
    {"\"\"\"\"\"\",\"\r\"", "1:[\"\"][\r]"},
    {"\xc3\xa6,\xf0\x9f\x8d\xb5", "1:[\xc3\xa6][\xf0\x9f\x8d\xb5]"},
    /* faults: the cell is to blame, and the rest is read */
    {"a,b\"c,d\ne", "1:[a][b\"c]!3[d]2:[e]"},
    {"a,\"b\"c,d\ne", "1:[a][bc]!4[d]2:[e]"},
    {"a,\"b\" ,d", "1:[a][b ]!4[d]"},
    {"\"b\"\"", "1:[b\"]!5"},
    {"a,\"b\nc,d\n", "1:[a][b\nc,d\n]!5"},
    {"a,\"", "1:[a][]!5"},
    {"a\rb,c\nd\r", "1:[a\rb]!6[c]2:[d\r]!6"},
    {"a,\"b\"\r,c", "1:[a][b\r]!4[c]"},
    /* RFC 3629: a lone byte, a cut character, an overlong form, a surrogate, beyond U+10FFFF */
    {"\xe6,\xc3,\xc0\xaf,\xed\xa0\x80,\xf4\x90\x80\x80,z",
     "1:[\xe6]!2[\xc3]!2[\xc0\xaf]!2[\xed\xa0\x80]!2[\xf4\x90\x80\x80]!2[z]"},
    {"\"\xff\xfe\"", "1:[\xff\xfe]!2"},
};

START_TEST(test_records)
{
    ck_assert_str_eq(shown(cases[_i].text, strlen(cases[_i].text)), cases[_i].records);
}
END_TEST

START_TEST(test_nul)
{
    ck_assert_str_eq(shown("a,b\0c\nd", 7), "1:[a][b]!12:[d]");
    ck_assert_str_eq(shown("\0", 1), "1:[]!1");
    ck_assert_str_eq(shown("\"\0\xff\",a", 6), "1:[]!1[a]");
}
END_TEST

START_TEST(test_bounds)
{
    char text[CSV_CELL_MAX + 2], many[2 * CSV_CELLS_MAX + 4];
    struct csv csv;
    struct csv_record record;
    memset(text, 'x', sizeof text);
    for (size_t length = CSV_CELL_MAX; length <= CSV_CELL_MAX + 1; length++) {
        csv_begin(&csv, text, length);
        ck_assert(csv_read(&csv, &record));
        ck_assert_uint_eq(record.cells[0].length, length);
        ck_assert_int_eq(record.cells[0].fault, length > CSV_CELL_MAX ? CSV_CELL_TOO_LONG : CSV_FINE);
        memset(text, 'x', sizeof text);
    }
    memset(many, ',', sizeof many);
    csv_begin(&csv, many, sizeof many - 1);
    ck_assert(csv_read(&csv, &record));
    ck_assert_uint_eq(record.count, sizeof many);
    ck_assert(!csv_read(&csv, &record));
}
END_TEST

START_TEST(test_each_fault_has_words)
{
    for (int fault = CSV_FINE; fault < CSV_FAULT_COUNT; fault++)
        ck_assert_ptr_nonnull(csv_fault_detail((enum csv_fault)fault));
}
END_TEST

/* Any bytes are read to their end, and no cell reaches beyond them. */
START_TEST(test_any_bytes)
{
    static const char some[] = "a\"\",;\n\r\0\xc3\xa6\xef\xbb\xbf";
    srandom((unsigned)_i);
    for (int round = 0; round < 2000; round++) {
        size_t length = (size_t)random() % 40, cells = 0;
        char *text = malloc(length + 1);
        struct csv csv;
        struct csv_record record;
        for (size_t i = 0; i < length; i++)
            text[i] = some[(size_t)random() % (sizeof some - 1)];
        csv_begin(&csv, text, length);
        while (csv_read(&csv, &record)) {
            cells += record.count;
            for (size_t i = 0; i < record.count; i++)
                ck_assert(record.cells[i].text + record.cells[i].length <= text + length);
        }
        ck_assert_uint_le(cells, length + 1);
        free(text);
    }
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("csv");
    TCase *tests = tcase_create("csv");
    tcase_add_loop_test(tests, test_records, 0, sizeof cases / sizeof cases[0]);
    tcase_add_test(tests, test_nul);
    tcase_add_test(tests, test_bounds);
    tcase_add_test(tests, test_each_fault_has_words);
    tcase_add_loop_test(tests, test_any_bytes, 0, 4);
    suite_add_tcase(suite, tests);
    return suite;
}
