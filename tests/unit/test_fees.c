/* SPDX-License-Identifier: ISC */
/* The fees of a site: which row of the terms gives each, and the sums that are rounded once. */
#include "depositd/fees.h"

#include "suite.h"

enum { SITE = 7, HEARTH = 1, MILLER = 2, SMALL = 1, LARGE = 2, ANY = 0, LINES_MAX = 16 };
enum { ANY_KIND = -1, NO_FEE = -1 };

/* One document of terms: every combination of what a row may name. A fee of -1 is not stated. */
static const struct {
    int32_t participant;
    int kind;
    int32_t cup_type;
    int64_t fee[FEE_KINDS]; /* service, handling, standing */
} given[] = {
    /* 1 */ {ANY, ANY_KIND, SMALL, {11, 12, NO_FEE}},
    /* 2 */ {ANY, SITE_HUB, ANY, {21, NO_FEE, 23}},
    /* 3 */ {ANY, SITE_HUB, SMALL, {NO_FEE, 32, NO_FEE}},
    /* 4 */ {HEARTH, ANY_KIND, ANY, {NO_FEE, 42, 43}},
    /* 5 */ {HEARTH, ANY_KIND, SMALL, {51, NO_FEE, NO_FEE}},
    /* 6 */ {HEARTH, SITE_RETURN_POINT, ANY, {61, NO_FEE, 0}},
    /* 7 */ {HEARTH, SITE_RETURN_POINT, LARGE, {NO_FEE, 72, NO_FEE}},
};
enum { ROWS = sizeof given / sizeof given[0] };

static void fill_terms(struct terms *terms, struct fee_row rows[static ROWS])
{
    for (size_t i = 0; i < ROWS; i++) {
        rows[i] =
            (struct fee_row){.participant = given[i].participant,
                             .cup_type = given[i].cup_type,
                             .names_kind = given[i].kind != ANY_KIND,
                             .site_kind = (enum site_kind)(given[i].kind == ANY_KIND ? 0 : given[i].kind)};
        for (int kind = 0; kind < FEE_KINDS; kind++) {
            rows[i].states[kind] = given[i].fee[kind] != NO_FEE;
            rows[i].fee[kind].minor = rows[i].states[kind] ? given[i].fee[kind] : 0;
        }
    }
    *terms = (struct terms){.fee = {{1}, {2}, {3}}, .fee_rows = rows, .fee_row_count = ROWS};
}

/* Each fee by itself: of the rows that state it and fit, a row with the participant beats any other, then one
 * with the kind of site, then one with the cup type; else the terms' own fee (row 0). */
START_TEST(the_row_that_names_most_gives_the_fee)
{
    static const struct {
        int32_t participant;
        enum site_kind kind;
        int32_t cup_type;
        int32_t row[FEE_KINDS];
        int64_t fee[FEE_KINDS];
    } cases[] = {
        /* nothing fits but the terms' own */
        {MILLER, SITE_CAFE, LARGE, {0, 0, 0}, {1, 2, 3}},
        /* a cup type beats nothing */
        {MILLER, SITE_CAFE, SMALL, {1, 1, 0}, {11, 12, 3}},
        /* a kind beats a cup type; with the cup type it beats both, for the fee that it states */
        {MILLER, SITE_HUB, SMALL, {2, 3, 2}, {21, 32, 23}},
        {MILLER, SITE_HUB, LARGE, {2, 0, 2}, {21, 2, 23}},
        /* the participant beats kind and cup type together */
        {HEARTH, SITE_HUB, SMALL, {5, 4, 4}, {51, 42, 43}},
        {HEARTH, SITE_HUB, LARGE, {2, 4, 4}, {21, 42, 43}},
        /* among the participant's rows the kind beats the cup type */
        {HEARTH, SITE_RETURN_POINT, SMALL, {6, 4, 6}, {61, 42, 0}},
        {HEARTH, SITE_RETURN_POINT, LARGE, {6, 7, 6}, {61, 72, 0}},
        {HEARTH, SITE_CAFE, LARGE, {0, 4, 4}, {1, 42, 43}},
        /* no cup: a standing fee */
        {HEARTH, SITE_CAFE, ANY, {0, 4, 4}, {1, 42, 43}},
        {MILLER, SITE_RETURN_POINT, ANY, {0, 0, 0}, {1, 2, 3}},
    };
    struct terms terms;
    struct fee_row rows[ROWS];
    fill_terms(&terms, rows);
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct fee_part part = {.terms = &terms,
                                .participant = cases[i].participant,
                                .site_kind = cases[i].kind,
                                .cup_type = cases[i].cup_type};
        for (int kind = 0; kind < FEE_KINDS; kind++) {
            int32_t row = fee_row_of(&part, (enum fee_kind)kind);
            ck_assert_msg(row == cases[i].row[kind], "case %zu, fee %d: row %d", i, kind, row);
            ck_assert_int_eq(fee_of_row(&terms, (enum fee_kind)kind, row).minor, cases[i].fee[kind]);
        }
    }
}
END_TEST

/* The order of rows says nothing. */
START_TEST(the_order_of_rows_does_not_matter)
{
    struct terms terms;
    struct fee_row rows[ROWS], reversed[ROWS];
    fill_terms(&terms, rows);
    for (size_t i = 0; i < ROWS; i++)
        reversed[i] = rows[ROWS - 1 - i];
    struct terms backwards = terms;
    backwards.fee_rows = reversed;
    for (int32_t participant = ANY; participant <= MILLER; participant++)
        for (int site_kind = SITE_CAFE; site_kind <= SITE_HUB; site_kind++)
            for (int32_t cup_type = ANY; cup_type <= LARGE; cup_type++)
                for (int kind = 0; kind < FEE_KINDS; kind++) {
                    struct fee_part part = {.terms = &terms,
                                            .participant = participant,
                                            .site_kind = (enum site_kind)site_kind,
                                            .cup_type = cup_type};
                    int32_t row = fee_row_of(&part, (enum fee_kind)kind);
                    part.terms = &backwards;
                    int32_t other = fee_row_of(&part, (enum fee_kind)kind);
                    ck_assert_int_eq(other, row == 0 ? 0 : ROWS + 1 - row);
                }
}
END_TEST

static struct fees fees_from(const struct fee_part *parts, size_t count, struct fee_lines *lines)
{
    struct fees fees;
    ck_assert_int_eq(fees_of(SITE, parts, count, lines, &fees), REASON_NONE);
    return fees;
}

START_TEST(fees_are_those_of_the_worked_example)
{
    const struct terms terms = {.fee = {{10}, {4}, {0}}, .tax_rate = {150000}};
    /* site, issued, returned, service fee + tax, handling fee + tax */
    static const int64_t sites[][6] = {
        {40, 0, 400, 60, 0, 0}, {0, 22, 0, 0, 88, 13}, {4, 6, 40, 6, 24, 4}, {2, 3, 20, 3, 12, 2}};
    struct fee_line items[LINES_MAX];
    struct fee_lines lines = {items, 0};
    for (size_t i = 0; i < 4; i++) {
        struct fee_part part = {
            .terms = &terms, .issued = {sites[i][0]}, .returned = {sites[i][1]}, .tax_registered = true};
        struct fees fees = fees_from(&part, 1, &lines);
        ck_assert_int_eq(fees.fee[FEE_SERVICE].minor, sites[i][2]);
        ck_assert_int_eq(fees.tax[FEE_SERVICE].minor, sites[i][3]);
        ck_assert_int_eq(fees.fee[FEE_HANDLING].minor, sites[i][4]);
        ck_assert_int_eq(fees.tax[FEE_HANDLING].minor, sites[i][5]);
        ck_assert_int_eq(fees.fee[FEE_STANDING].minor, 0);
        part.tax_registered = false;
        ck_assert_int_eq(fees_from(&part, 1, &lines).tax[FEE_HANDLING].minor, 0);
    }
}
END_TEST

/* 10 cups are issued at 0.25 with 10 % tax. Reversed of earlier days are 4 cups issued at 0.10 with 15 %, 1
 * issued at 0.05 with 5 %, and 3 returned at 0.04 with 15 %. The service fee is 2.50 - 0.40 - 0.05. Its tax
 * is 0.25 - 0.06 - 0.0025 = 0.1875, rounded once; rounded by parts it would be 0.25 - 0.06 - 0.00. */
START_TEST(a_reversal_takes_back_the_fees_of_its_original_s_day)
{
    const struct terms now = {.from = {30}, .fee = {{25}, {9}}, .tax_rate = {100000}};
    const struct terms then = {.from = {20}, .fee = {{10}, {4}}, .tax_rate = {150000}};
    const struct terms before = {.from = {10}, .fee = {{5}, {8}}, .tax_rate = {50000}};
    struct fee_part parts[] = {
        {.terms = &now, .issued = {10}, .tax_registered = true},
        {.terms = &then, .issued = {-4}, .returned = {-3}, .tax_registered = true},
        {.terms = &before, .issued = {-1}, .tax_registered = true},
    };
    struct fee_line items[LINES_MAX];
    struct fee_lines lines = {items, 0};
    struct fees fees = fees_from(parts, 3, &lines);
    ck_assert_int_eq(fees.fee[FEE_SERVICE].minor, 205);
    ck_assert_int_eq(fees.tax[FEE_SERVICE].minor, 19);
    ck_assert_int_eq(fees.fee[FEE_HANDLING].minor, -12);
    ck_assert_int_eq(fees.tax[FEE_HANDLING].minor, -2); /* -1.8 */
    parts[1].tax_registered = false;
    fees = fees_from(parts, 3, &lines);
    ck_assert_int_eq(fees.tax[FEE_HANDLING].minor, 0);
    parts[0].issued.count = INT64_MAX;
    ck_assert_int_eq(fees_of(SITE, parts, 3, &lines, &fees), REASON_OUT_OF_RANGE);
}
END_TEST

/* 3 small cups at 0.11 and 7 large at the terms' own 0.01: 0.40, taxed 7.5 % as one: 0.03, by rows it would
 * be 0.02475 and 0.00525, rounded 0.02 and 0.01. The month at 0.03 has a tax of its own: 0.00225. */
START_TEST(a_fee_is_rounded_once_over_its_rows)
{
    struct terms terms;
    struct fee_row rows[ROWS];
    fill_terms(&terms, rows);
    terms.tax_rate.ppm = 75000;
    struct fee_part parts[] = {
        {.terms = &terms, .participant = MILLER, .cup_type = SMALL, .issued = {3}},
        {.terms = &terms, .participant = MILLER, .cup_type = LARGE, .issued = {7}},
        {.terms = &terms, .participant = MILLER, .standing = true},
    };
    struct fee_line items[LINES_MAX];
    struct fee_lines lines = {items, 0};
    struct fees fees = fees_from(parts, 3, &lines);
    ck_assert_int_eq(fees.fee[FEE_SERVICE].minor, 40);
    ck_assert_int_eq(fees.tax[FEE_SERVICE].minor, 3);
    ck_assert_int_eq(fees.fee[FEE_STANDING].minor, 3);
    ck_assert_int_eq(fees.tax[FEE_STANDING].minor, 0);
    ck_assert_uint_eq(lines.count, 3);
    ck_assert_int_eq(items[0].row, 1);
    ck_assert_int_eq(items[0].quantity.count, 3);
    ck_assert_int_eq(items[1].row, 0);
    ck_assert_int_eq(items[2].kind, FEE_STANDING);
    ck_assert_int_eq(items[2].quantity.count, 1);
    ck_assert_int_eq(items[2].site, SITE);
}
END_TEST

/* Terms without a standing fee charge none, and say nothing of it; a row that states 0 is a line. */
START_TEST(a_month_without_a_standing_fee_is_no_line)
{
    const struct fee_row none = {.states = {[FEE_STANDING] = true}};
    struct terms terms = {.from = {20}};
    struct fee_part part = {.terms = &terms, .standing = true};
    struct fee_line items[LINES_MAX];
    struct fee_lines lines = {items, 0};
    struct fees fees = fees_from(&part, 1, &lines);
    ck_assert_int_eq(fees.fee[FEE_STANDING].minor, 0);
    ck_assert_uint_eq(lines.count, 0);
    terms.fee_rows = &none;
    terms.fee_row_count = 1;
    fees = fees_from(&part, 1, &lines);
    ck_assert_int_eq(fees.fee[FEE_STANDING].minor, 0);
    ck_assert_uint_eq(lines.count, 1);
    ck_assert_int_eq(items[0].row, 1);
}
END_TEST

/* Cups of two types that get a fee from one row are one line; another tax rate is another line. */
START_TEST(lines_are_by_row_and_tax_rate)
{
    const struct terms terms = {.from = {20}, .fee = {{10}, {4}}, .tax_rate = {150000}};
    struct fee_part parts[] = {
        {.terms = &terms, .cup_type = SMALL, .returned = {3}, .tax_registered = true},
        {.terms = &terms, .cup_type = LARGE, .returned = {4}, .tax_registered = true},
        {.terms = &terms, .cup_type = LARGE, .returned = {-2}, .tax_registered = false},
    };
    struct fee_line items[LINES_MAX];
    struct fee_lines lines = {items, 0};
    struct fees fees = fees_from(parts, 3, &lines);
    ck_assert_uint_eq(lines.count, 2);
    ck_assert_int_eq(items[0].quantity.count, 7);
    ck_assert_int_eq(items[0].tax_rate.ppm, 150000);
    ck_assert_int_eq(items[1].quantity.count, -2);
    ck_assert_int_eq(items[1].tax_rate.ppm, 0);
    ck_assert_int_eq(fees.fee[FEE_HANDLING].minor, 20);
    ck_assert_int_eq(fees.tax[FEE_HANDLING].minor, 4); /* 4.2 */
}
END_TEST

START_TEST(a_dated_value_holds_from_its_day_on)
{
    const struct tax_registration registrations[] = {{1, {10}, false}, {1, {20}, true}};
    const struct participant participant = {
        .id = 1, .tax_registered = true, .registrations = registrations, .registration_count = 2};
    const struct site_kind_change kinds[] = {{1, {10}, SITE_HUB}};
    const struct site site = {.id = 1, .kind = SITE_RETURN_POINT, .kinds = kinds, .kind_count = 1};
    ck_assert(participant_tax_registered(&participant, (struct date){9}));
    ck_assert(!participant_tax_registered(&participant, (struct date){10}));
    ck_assert(!participant_tax_registered(&participant, (struct date){19}));
    ck_assert(participant_tax_registered(&participant, (struct date){20}));
    ck_assert_int_eq(site_kind_on(&site, (struct date){9}), SITE_RETURN_POINT);
    ck_assert_int_eq(site_kind_on(&site, (struct date){10}), SITE_HUB);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("fees");
    TCase *tests = tcase_create("fees");
    tcase_add_test(tests, the_row_that_names_most_gives_the_fee);
    tcase_add_test(tests, the_order_of_rows_does_not_matter);
    tcase_add_test(tests, fees_are_those_of_the_worked_example);
    tcase_add_test(tests, a_reversal_takes_back_the_fees_of_its_original_s_day);
    tcase_add_test(tests, a_fee_is_rounded_once_over_its_rows);
    tcase_add_test(tests, a_month_without_a_standing_fee_is_no_line);
    tcase_add_test(tests, lines_are_by_row_and_tax_rate);
    tcase_add_test(tests, a_dated_value_holds_from_its_day_on);
    suite_add_tcase(suite, tests);
    return suite;
}
