/* SPDX-License-Identifier: ISC */
/* The writer of pages: escaping, URIs, pictures, and a whole page against the golden file. The test says
 * where it has written the new page. After an intended change, look at that page, then keep it. */
#include "base/uri.h"
#include "report/plot.h"
#include "report/render.h"
#include "written.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void set_up(void)
{
    buffer_init(&text, 1 << 20);
}

START_TEST(what_has_a_meaning_in_html_is_escaped)
{
    /* The five characters that HTML (WHATWG, section 13.1.2) gives a meaning in text and in quoted values. */
    html_text(&text, "<script>alert(\"&'1'\")</script>");
    expect("&lt;script&gt;alert(&quot;&amp;&#39;1&#39;&quot;)&lt;/script&gt;");
    html_text(&text, "two\nlines\tand \x01\x7f\r");
    expect("two\nlines\tand \xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd");
    html_text(&text, "\xc3\xa9\xe2\x98\x83");
    expect("\xc3\xa9\xe2\x98\x83");
    html_text(&text, "");
    expect("");
    html_link(&text, "/v1?a=1&b=\"><x>", "a<b");
    expect("<a href=\"/v1?a=1&amp;b=&quot;&gt;&lt;x&gt;\">a&lt;b</a>");
    html_label(&text, "business_date");
    expect("Business date");
    html_label(&text, "<b>-x");
    expect("&lt;b&gt; x");
}
END_TEST

/* U+2212 */
#define MINUS "\xe2\x88\x92"

START_TEST(figures_keep_their_digits)
{
    static const struct {
        const char *number, *written;
    } cases[] = {{"1.00", "1.00"},
                 {"-1234.56", MINUS "1234.56"},
                 {"12345", "12<span>345</span>"},
                 {"-123456.70", MINUS "123<span>456</span>.70"},
                 {"1234567", "1<span>234</span><span>567</span>"},
                 {"a<b", "a&lt;b"},
                 {"", ""}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        html_figure(&text, cases[i].number);
        expect(cases[i].written);
    }
    html_number(&text, "-123456.70");
    expect(MINUS "123456.70");
    html_number(&text, "-x<");
    expect("-x&lt;");
    html_nothing(&text, "0.00");
    expect("<data value=\"0.00\">\xe2\x80\x93</data>");
    ck_assert(html_is_zero("0.00") && html_is_zero("-0") && !html_is_zero("0.01") && !html_is_zero("x"));
    ck_assert(html_is_figure("-0.50") && html_is_figure("7"));
    ck_assert(!html_is_figure("") && !html_is_figure("-") && !html_is_figure("2026-05-12") &&
              !html_is_figure("07"));
}
END_TEST

/* The variables of RFC 6570 section 3.2.2, which are those of section 1.2 level 1. */
static const char *rfc_6570(void *context, const char *name, size_t length)
{
    static const char *const values[][2] = {{"var", "value"},     {"hello", "Hello World!"},
                                            {"half", "50%"},      {"base", "http://example.com/home/"},
                                            {"path", "/foo/bar"}, {"v", "6"},
                                            {"who", "fred"},      {"x", "1024"},
                                            {"y", "768"}};
    (void)context;
    for (size_t i = 0; i < sizeof values / sizeof values[0]; i++)
        if (strlen(values[i][0]) == length && strncmp(values[i][0], name, length) == 0)
            return values[i][1];
    return NULL;
}

START_TEST(templates_expand_as_rfc_6570_has_it)
{
    static const char *const cases[][2] = {
        {"{var}", "value"},          {"{hello}", "Hello%20World%21"},
        {"{half}", "50%25"},         {"{base}index", "http%3A%2F%2Fexample.com%2Fhome%2Findex"},
        {"O{who}X", "OfredX"},       {"{path}/here", "%2Ffoo%2Fbar/here"},
        {"map?{x}", "map?1024"},     {"/v1/a?x={x}&y={y}", "/v1/a?x=1024&y=768"},
        {"plain", "plain"},          {"", ""},
        {"/a?b{&x}", "/a?b&x=1024"}, {"/a?b{&undef}{&half}", "/a?b&half=50%25"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        ck_assert(uri_expand(&text, cases[i][0], rfc_6570, NULL));
        expect(cases[i][1]);
    }
    /* Ours differs from the RFC here: a link that lacks a variable is no link. */
    buffer_add_text(&text, "before");
    ck_assert(!uri_expand(&text, "/v1/{var}/{undef}", rfc_6570, NULL));
    expect("before");
}
END_TEST

START_TEST(bytes_are_percent_encoded_in_upper_case)
{
    uri_encode(&text, "a-._~Z9 \"&+\xc3\xa9"); /* RFC 3986 sections 2.1 and 2.3 */
    expect("a-._~Z9%20%22%26%2B%C3%A9");
}
END_TEST

/* --- pictures ------------------------------------------------------------------------------------------ */

static struct plot *plot_of(const struct report_plot *about)
{
    struct plot *plot = plot_new(about);
    ck_assert_ptr_nonnull(plot);
    return plot;
}

static size_t occurrences(const char *part)
{
    size_t count = 0;
    for (const char *at = text.data; (at = strstr(at, part)) != NULL; at += strlen(part))
        count++;
    return count;
}

START_TEST(bars_start_at_zero_on_either_side)
{
    static const struct report_plot about = {PLOT_BARS, "Positions", "who", "amount", NULL, NULL};
    struct plot *plot = plot_of(&about);
    plot_add(plot, "hearth", "100.00", NULL, NULL);
    plot_add(plot, "miller", "-50.00", NULL, NULL);
    plot_add(plot, "quay", NULL, NULL, NULL);
    plot_add(plot, "", "7.00", NULL, NULL);
    plot_add(plot, "slip", "not a number", NULL, NULL);
    plot_write(plot, &text);
    plot_free(plot);
    ck_assert_uint_eq(occurrences("<rect"), 2);
    /* 6 characters of label, 6 of figure: from 46.8 to 373.2 for -50 to 100, so that zero is at 155.6. */
    ck_assert_ptr_nonnull(strstr(text.data, "x=\"155.6\" y=\"23.0\" width=\"217.6\""));
    ck_assert_ptr_nonnull(strstr(text.data, "x=\"46.8\" y=\"41.0\" width=\"108.8\""));
    ck_assert_ptr_nonnull(
        strstr(text.data, "Amount by who: least " MINUS "50.00 (miller), most 100.00 (hearth)."));
    ck_assert_ptr_null(strstr(text.data, "class=\"key\""));
}
END_TEST

START_TEST(bars_say_places_in_words_and_bear_a_mark)
{
    static const struct report_plot about = {PLOT_BARS, "Cups", "place", "cups", "cup_type", "goal"};
    struct plot *plot = plot_of(&about);
    plot_add(plot, "with_customers", "10", "cup-300", "5");
    plot_add(plot, "anchor-2", "4", "cup-450", NULL);
    plot_write(plot, &text);
    plot_free(plot);
    /* 14 characters of label, 2 of figure: from 101.2 to 400.4 for 0 to 10, so that 5 is at 250.8. */
    ck_assert_ptr_nonnull(strstr(text.data, ">with customers</text>"));
    ck_assert_ptr_nonnull(strstr(text.data, "least 4 (anchor-2), most 10 (with customers)."));
    ck_assert_ptr_null(strstr(text.data, "with_customers"));
    ck_assert_ptr_nonnull(strstr(text.data, "<line class=\"halo\" x1=\"250.8\" y1=\"21.0\" x2=\"250.8\""));
    ck_assert_ptr_nonnull(strstr(text.data, "<line class=\"target\" x1=\"250.8\" y1=\"21.0\" x2=\"250.8\""));
    ck_assert_uint_eq(occurrences("class=\"target\""), 1);
}
END_TEST

START_TEST(lines_lie_where_their_days_are)
{
    static const struct report_plot about = {PLOT_LINES, "Held", "day", "held", "cup_type", "goal"};
    struct plot *plot = plot_of(&about);
    plot_add(plot, "2026-05-01", "0.00", "cup-300", "50.00");
    plot_add(plot, "2026-05-02", "100.00", "cup-300", "50.00");
    plot_add(plot, "2026-05-05", "50.00", "cup-300", "50.00");
    plot_add(plot, "2026-05-05", "25.00", "cup-<450>", "50.00");
    plot_write(plot, &text);
    plot_free(plot);
    /* 3 digits of scale: from 26.4 to 414.0, a quarter of it a day; 100 is at the top, 0 at the bottom. */
    ck_assert_ptr_nonnull(
        strstr(text.data, "class=\"line s0\" points=\"26.4,212.0 123.3,22.0 414.0,117.0 \""));
    ck_assert_ptr_nonnull(
        strstr(text.data, "<line class=\"target\" x1=\"26.4\" y1=\"117.0\" x2=\"414.0\" y2=\"117.0\"/>"));
    ck_assert_ptr_nonnull(strstr(text.data,
                                 "<li class=\"s0\">cup-300</li><li class=\"s1\">cup-&lt;450&gt;</li>"
                                 "<li class=\"target\">Goal</li>"));
    ck_assert_uint_eq(occurrences("<polyline"), 2);
    ck_assert_ptr_null(strstr(text.data, "cup-<"));
}
END_TEST

START_TEST(a_picture_is_bounded_and_says_so)
{
    static const struct report_plot about = {PLOT_LINES, "Many", "n", "y", NULL, NULL};
    struct plot *plot = plot_of(&about);
    char label[32];
    for (int i = 0; i < 1000; i++) {
        snprintf(label, sizeof label, "row %d", i);
        plot_add(plot, label, i % 2 == 0 ? "999999999999999999" : "-999999999999999999", NULL, NULL);
    }
    plot_write(plot, &text);
    ck_assert_uint_eq(occurrences("<circle"), 400);
    ck_assert_ptr_nonnull(strstr(text.data, "Many (the first 400)"));
    plot_free(plot);
}
END_TEST

START_TEST(where_there_is_nothing_to_draw_there_is_no_figure)
{
    static const struct report_plot about = {PLOT_BARS, "None", "x", "y", NULL, NULL};
    struct plot *plot = plot_of(&about);
    plot_write(plot, &text);
    expect("");
    plot_add(plot, "zero", "0", NULL, NULL); /* one value, and no range */
    plot_write(plot, &text);
    ck_assert_uint_eq(occurrences("<rect"), 1);
    plot_free(plot);
}
END_TEST

/* --- a whole page -------------------------------------------------------------------------------------- */

static const struct report invented = {
    .name = "invented-one",
    .title = "A report that no service has & its \"title\"",
    .plot = {PLOT_BARS, "Figures by site", "site", "figure", NULL, NULL},
    .totals = {"participant", {"total"}},
    .parameters = {{"as_of", PARAMETER_DAY, REQUIRED, ""},
                   {"site", PARAMETER_SITE, OR_NULL, ""},
                   {"account", PARAMETER_ACCOUNT, OR_NULL, ""}},
    .columns = {{"participant", COLUMN_TEXT, "Who", "/v1/participants/{participant}"},
                {"site", COLUMN_TEXT, "Where", "/v1/x?scheme={scheme}&site={site}&to={as_of}"},
                {"unit", COLUMN_TEXT, "Currency or <cup type>", "/not/for/this/key"},
                {"figure", COLUMN_FIGURE, "How much"},
                {"cups", COLUMN_CUPS, "How many", "/v1/y/{account}"}},
};
static const char *const rows[][5] = {
    {"hearth", "anchor", "CAD", "1234567.00", "3"}, {"hearth", "a&b <i>", "CAD", "-2.50", NULL},
    {"hearth", NULL, "CAD", "1234564.50", NULL},    {"miller", NULL, "cup-300", "30", "-4"},
    {"total", NULL, "CAD", "0.00", NULL},
};

static void add_to(void *context, const char *bytes, size_t length)
{
    buffer_add(context, bytes, length);
}

/* The head is passed on before there are rows, and each row at once, so a page of any length needs little
 * memory. */
static void write_page(void)
{
    static const char *const schemes[] = {"skerry", "tern-bay", NULL};
    static const char *const sites[] = {"anchor", "a\"c", NULL}, *const names[] = {"Anchor <b>", "a\"c"};
    static const struct html_link pages[] = {{"/v1/a?b=1&c=2", "A & B"}};
    const struct report_page page = {.pages = pages,
                                     .page_count = 1,
                                     .schemes = {schemes, schemes},
                                     .choices = {{NULL, NULL}, {sites, names}},
                                     .leads = {true, true, false, false, true},
                                     .note = "Take care."};
    const struct report_head head = {.report = &invented,
                                     .scheme = "tern-bay",
                                     .currency = "CAD",
                                     .arguments = {"2026-05-12", "a\"c"},
                                     .page = &page};
    struct render render;
    size_t before = 0;
    render_begin(&render, &render_html, &head, (struct sink){add_to, &text});
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        ck_assert_uint_gt(text.length, before);
        before = text.length;
        render_row(&render, rows[i]);
    }
    ck_assert(render_end(&render));
}

START_TEST(a_page_is_as_the_golden_file_has_it)
{
    static char golden[65536];
    FILE *file = fopen(GOLDEN, "r");
    ck_assert_ptr_nonnull(file);
    golden[fread(golden, 1, sizeof golden - 1, file)] = '\0';
    fclose(file);
    write_page();
    if (strcmp(text.data, golden) != 0) {
        file = fopen("golden_report.html.new", "w");
        ck_assert_ptr_nonnull(file);
        fputs(text.data, file);
        fclose(file);
        ck_abort_msg("the page differs from " GOLDEN ": see golden_report.html.new");
    }
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("html");
    TCase *tests = tcase_create("html");
    tcase_add_checked_fixture(tests, set_up, tear_down);
    tcase_add_test(tests, what_has_a_meaning_in_html_is_escaped);
    tcase_add_test(tests, figures_keep_their_digits);
    tcase_add_test(tests, templates_expand_as_rfc_6570_has_it);
    tcase_add_test(tests, bytes_are_percent_encoded_in_upper_case);
    tcase_add_test(tests, bars_start_at_zero_on_either_side);
    tcase_add_test(tests, bars_say_places_in_words_and_bear_a_mark);
    tcase_add_test(tests, lines_lie_where_their_days_are);
    tcase_add_test(tests, a_picture_is_bounded_and_says_so);
    tcase_add_test(tests, where_there_is_nothing_to_draw_there_is_no_figure);
    tcase_add_test(tests, a_page_is_as_the_golden_file_has_it);
    suite_add_tcase(suite, tests);
    return suite;
}
