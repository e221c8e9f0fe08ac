/* SPDX-License-Identifier: ISC */
/* The renderers, with a report that no service has: cells of every content, and rows that leave as soon as
 * they are complete. Also the rules for every row of the table of reports. */
#include "depositd/access.h"
#include "report/render.h"
#include "suite.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct report invented = {
    .name = "invented",
    .parameters = {{"from", PARAMETER_DAY, REQUIRED, ""}, {"to", PARAMETER_DAY, REQUIRED, ""}},
    .columns = {{"note", COLUMN_TEXT, ""},
                {"unit", COLUMN_TEXT, ""},
                {"figure", COLUMN_FIGURE, ""},
                {"paid, or not", COLUMN_AMOUNT, ""},
                {"cups", COLUMN_CUPS, ""}},
};
static const struct report_head head = {
    .report = &invented, .scheme = "tern-bay", .currency = "CAD", .arguments = {"2026-05-12", "2026-05-13"}};

static const char *const rows[][5] = {
    {"aaa", "CAD", "1.00", "-2.50", "3"},
    /* The fields of RFC 4180 section 2, rules 6 and 7. */
    {"b\r\nbb", "cup-300", "30", "b\"bb", "-4"},
    {"a,b", NULL, NULL, NULL, NULL},
    {"", "cup-450", "0", " x ", "0"},
};

/* The text that the sink got, and its length after each row. */
struct received {
    struct buffer text;
    size_t writes;
};

static void receive(void *context, const char *bytes, size_t length)
{
    struct received *received = context;
    buffer_add(&received->text, bytes, length);
    received->writes++;
}

static void expect(const struct renderer *renderer, const char *text, size_t writes)
{
    struct received received = {.writes = 0};
    struct render render;
    buffer_init(&received.text, 10000);
    render_begin(&render, renderer, &head, (struct sink){receive, &received});
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        render_row(&render, rows[i]);
        ck_assert_uint_eq(received.writes, i + 2); /* the head, and each row at once */
    }
    ck_assert(render_end(&render));
    ck_assert_str_eq(received.text.data, text);
    ck_assert_uint_eq(received.writes, writes);
    buffer_dispose(&received.text);
}

START_TEST(csv_is_that_of_rfc_4180)
{
    expect(&render_csv,
           "note,unit,figure,\"paid, or not\",cups,scheme,currency\r\n"
           "aaa,CAD,1.00,-2.50,3,tern-bay,CAD\r\n"
           "\"b\r\nbb\",cup-300,30,\"b\"\"bb\",-4,tern-bay,CAD\r\n"
           "\"a,b\",,,,,tern-bay,CAD\r\n"
           ",cup-450,0, x ,0,tern-bay,CAD\r\n",
           5);
}
END_TEST

/* OWASP, "CSV Injection": the characters a cell may not begin with. Figures keep their sign. */
START_TEST(csv_text_is_no_formula)
{
    static const char *const cases[][2] = {
        {"=1+1", "'=1+1"}, {"+1", "'+1"},       {"-1", "'-1"},       {"@SUM(A1)", "'@SUM(A1)"},
        {"\tx", "'\tx"},   {"\rx", "\"'\rx\""}, {"\nx", "\"'\nx\""}, {"=a,\"b", "\"'=a,\"\"b\""},
        {"a=1", "a=1"},    {"'=1", "'=1"},      {" =1", " =1"},      {"", ""},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct received received = {.writes = 0};
        struct render render;
        char expected[100];
        buffer_init(&received.text, 10000);
        render_begin(&render, &render_csv, &head, (struct sink){receive, &received});
        render_row(&render, (const char *const[]){cases[i][0], "CAD", "-1.00", "-2.50", "-3"});
        ck_assert(render_end(&render));
        snprintf(expected, sizeof expected, "%s,CAD,-1.00,-2.50,-3,tern-bay,CAD\r\n", cases[i][1]);
        ck_assert_str_eq(strstr(received.text.data, "\r\n") + 2, expected);
        buffer_dispose(&received.text);
    }
}
END_TEST

START_TEST(json_has_strings_integers_and_null)
{
    expect(&render_json,
           "{\"report\":\"invented\",\"scheme\":\"tern-bay\",\"currency\":\"CAD\","
           "\"from\":\"2026-05-12\",\"to\":\"2026-05-13\","
           "\"columns\":[\"note\",\"unit\",\"figure\",\"paid, or not\",\"cups\"],\"items\":[\n"
           "{\"note\":\"aaa\",\"unit\":\"CAD\",\"figure\":\"1.00\",\"paid, or not\":\"-2.50\",\"cups\":3},\n"
           "{\"note\":\"b\\r\\nbb\",\"unit\":\"cup-300\",\"figure\":30,\"paid, or "
           "not\":\"b\\\"bb\",\"cups\":-4},\n"
           "{\"note\":\"a,b\",\"unit\":null,\"figure\":null,\"paid, or not\":null,\"cups\":null},\n"
           "{\"note\":\"\",\"unit\":\"cup-450\",\"figure\":0,\"paid, or not\":\" x \",\"cups\":0}]}\n",
           6);
}
END_TEST

START_TEST(a_row_too_long_is_not_passed_on_in_part)
{
    enum { LONG = 2 << 20 };
    char *text = calloc(LONG + 1, 1);
    struct received received = {.writes = 0};
    struct render render;
    ck_assert_ptr_nonnull(text);
    memset(text, 'x', LONG);
    buffer_init(&received.text, 10000);
    render_begin(&render, &render_csv, &head, (struct sink){receive, &received});
    render_row(&render, (const char *const[]){text, NULL, NULL, NULL, NULL});
    ck_assert(!render_end(&render));
    ck_assert_uint_eq(received.writes, 1);
    buffer_dispose(&received.text);
    free(text);
}
END_TEST

static bool is_column(const struct report *report, const char *name, size_t length)
{
    for (size_t c = 0; c < report_column_count(report); c++)
        if (strlen(report->columns[c].name) == length && memcmp(report->columns[c].name, name, length) == 0)
            return true;
    return false;
}

static bool is_asked_for(const struct report *report, const char *name, size_t length)
{
    for (size_t p = 0; p < report_parameter_count(report); p++)
        if (strlen(report->parameters[p].name) == length &&
            memcmp(report->parameters[p].name, name, length) == 0)
            return true;
    return length == strlen("scheme") && memcmp(name, "scheme", length) == 0;
}

/* Each variable of the template is a column or a parameter. {&site} is of site. */
static void check_link(const struct report *report, const char *link)
{
    while (link != NULL && (link = strchr(link, '{')) != NULL) {
        const char *name = link += 1 + (link[1] == '&');
        ck_assert_ptr_nonnull(link = strchr(name, '}'));
        size_t length = (size_t)(link - name);
        ck_assert_msg(is_column(report, name, length) || is_asked_for(report, name, length), "%s: {%.*s}",
                      report->name, (int)length, name);
    }
}

static void check_plot(const struct report *report)
{
    const struct report_plot *plot = &report->plot;
    const char *const named[] = {plot->x, plot->y, plot->series, plot->target};
    for (size_t i = 0; i < sizeof named / sizeof named[0]; i++) {
        ck_assert(named[i] != NULL ? plot->kind != PLOT_NONE : plot->kind == PLOT_NONE || i >= 2);
        ck_assert(named[i] == NULL || is_column(report, named[i], strlen(named[i])));
    }
}

static void check_totals(const struct report *report)
{
    const struct report_totals *totals = &report->totals;
    ck_assert((totals->column != NULL) == (totals->words[0] != NULL));
    ck_assert(totals->column == NULL || is_column(report, totals->column, strlen(totals->column)));
}

START_TEST(every_report_is_complete)
{
    size_t count;
    const struct report *reports = reports_all(&count);
    ck_assert_uint_gt(count, 0);
    for (size_t i = 0; i < count; i++) {
        const struct report *report = &reports[i];
        ck_assert_ptr_eq(report_find(report->name), report);
        ck_assert_ptr_nonnull(report->sql);
        ck_assert_uint_ne(report->roles, 0);
        /* Keys that are bound to sites read only reports that take the sites as a parameter. */
        ck_assert(report->by_site || (report->roles & ~(unsigned)FOR_OFFICE) == 0);
        size_t columns = report_column_count(report);
        ck_assert(columns > 0 && columns < REPORT_COLUMNS_MAX);
        for (size_t p = 0; p < report_parameter_count(report); p++) {
            const struct report_parameter *parameter = &report->parameters[p];
            /* Only days have a day unless one is given, and only choices have words. */
            ck_assert(parameter->kind == PARAMETER_DAY || parameter->otherwise <= OR_FIRST_ON_PAGES);
            ck_assert(parameter->kind == PARAMETER_CHOICE || parameter->otherwise != OR_FIRST_ON_PAGES);
            ck_assert((parameter->kind == PARAMETER_CHOICE) == (parameter->choices != NULL));
        }
        check_plot(report);
        check_totals(report);
        for (size_t c = 0; c < columns; c++) {
            ck_assert_str_ne(report->columns[c].title, "");
            check_link(report, report->columns[c].link);
            check_link(report, report->columns[c].or_link);
            ck_assert(report->columns[c].link != NULL || report->columns[c].or_link == NULL);
            for (size_t other = 0; other < c; other++)
                ck_assert_str_ne(report->columns[other].name, report->columns[c].name);
        }
    }
    ck_assert_ptr_null(report_find("no-such-report"));
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("report");
    TCase *tests = tcase_create("report");
    tcase_add_test(tests, csv_is_that_of_rfc_4180);
    tcase_add_test(tests, csv_text_is_no_formula);
    tcase_add_test(tests, json_has_strings_integers_and_null);
    tcase_add_test(tests, a_row_too_long_is_not_passed_on_in_part);
    tcase_add_test(tests, every_report_is_complete);
    suite_add_tcase(suite, tests);
    return suite;
}
