/* SPDX-License-Identifier: ISC */
/* Payment files against golden files, which stand beside this file. tests/http/test_bank.py checks with
 * xmllint that the golden files are valid by the schemas of the standard. */
#include "payment/pain001.h"
#include "payment/pain008.h"
#include "suite.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FILE_MAX = 1 << 20 };

/* IBANs and BIC of the check values: registry examples, and those of python-stdnum's tests. */
static const struct pain_party national = {
    .name = "Tern Bay Cups & Caf\u00e9s", .account = "000123456", .bank_code = "000199999"};
static const struct pain_party with_iban = {
    .name = "Eider Sound Cups", .iban = "DE89370400440532013000", .bic = "ABNABE2A"};

static struct date day(const char *text)
{
    struct date date;
    ck_assert(date_parse(text, strlen(text), &date));
    return date;
}

static struct instant moment(const char *text)
{
    struct instant instant;
    ck_assert(instant_parse(text, strlen(text), &instant));
    return instant;
}

static struct pain_file file_of(struct pain_order *orders, size_t count)
{
    return (struct pain_file){
        .message_id = "0123456789abcdef0123456789abcdef",
        .created_at = moment("2026-05-13T09:30:00Z"),
        .currency = currency_find("CAD"),
        .operator= national,
        .creditor_id = "TB98ZZZ09999999999",
        .purpose = "tern-bay 2026-05-12",
        .orders = orders,
        .count = count,
    };
}

/* Two dates, out of order; parties with an IBAN, with both, and with neither. */
static void make_orders(struct pain_order orders[static 4])
{
    const struct pain_order made[] = {
        {"p-4",
         {1},
         day("2026-05-19"),
         {"Quay", "GB29NWBK60161331926819", NULL, NULL, NULL},
         "M-4",
         day("2026-01-05"),
         false,
         NULL},
        {"p-2",
         {5601},
         day("2026-05-14"),
         {"Miller", NULL, "12-34/5", "TB-002", NULL},
         "M/2",
         day("2026-01-03"),
         false,
         NULL},
        {"p-1",
         {41},
         day("2026-05-14"),
         {"Dock <&> \u00d8re", "NO9386011117947", NULL, NULL, "AGRIFRPP882"},
         "M-1",
         day("2026-01-02"),
         true,
         NULL},
        {"p-3",
         {123456789012},
         day("2026-05-14"),
         {"Ninety letters ninety letters ninety letters ninety letters ninety letters ninety letters 0123",
          NULL, "7", "8", "AGRIFRPP"},
         "M-3",
         day("2026-01-04"),
         false,
         NULL},
    };
    memcpy(orders, made, sizeof made);
}

/* The file `name` stands in this folder. If DEPOSITD_WRITE_GOLDEN is set, it is written anew; look at the
 * difference. */
static void assert_golden(const char *name, const struct buffer *xml)
{
    static char golden[FILE_MAX];
    char path[1024];
    snprintf(path, sizeof path, "%s/%s", GOLDEN, name);
    if (getenv("DEPOSITD_WRITE_GOLDEN") != NULL) {
        FILE *made = fopen(path, "w");
        ck_assert_ptr_nonnull(made);
        ck_assert_uint_eq(fwrite(xml->data, 1, xml->length, made), xml->length);
        fclose(made);
    }
    FILE *file = fopen(path, "r");
    ck_assert_msg(file != NULL, "%s", path);
    size_t length = fread(golden, 1, sizeof golden - 1, file);
    fclose(file);
    golden[length] = '\0';
    ck_assert_str_eq(xml->data, golden);
    ck_assert_uint_eq(xml->length, length);
}

typedef bool (*writing)(struct pain_file *file, struct buffer *xml);

static void check_golden(writing write, struct pain_file *file, const char *name)
{
    struct buffer xml;
    buffer_init(&xml, FILE_MAX);
    ck_assert(write(file, &xml));
    assert_golden(name, &xml);
    buffer_dispose(&xml);
}

START_TEST(payouts)
{
    struct pain_order orders[4];
    make_orders(orders);
    struct pain_file file = file_of(orders, 4);
    check_golden(pain001_write, &file, "pain001.xml");
}
END_TEST

START_TEST(collections)
{
    struct pain_order orders[4];
    make_orders(orders);
    struct pain_file file = file_of(orders, 4);
    check_golden(pain008_write, &file, "pain008.xml");
}
END_TEST

/* Euro between IBANs has its own codes; a currency without decimals, its own sums. */
START_TEST(euro_and_krona)
{
    struct pain_order orders[4];
    make_orders(orders);
    orders[1] = orders[2];
    struct pain_file file = file_of(orders, 2);
    file.operator= with_iban;
    file.currency = currency_find("EUR");
    check_golden(pain001_write, &file, "pain001-euro.xml");
    check_golden(pain008_write, &file, "pain008-euro.xml");
    file.currency = currency_find("ISK");
    check_golden(pain001_write, &file, "pain001-krona.xml");
}
END_TEST

/* The debt to another pool is instructed as it was agreed, and the bank exchanges it. Orders in another
 * currency have a block of their own, without the euro area's codes. A control sum adds up numbers
 * irrespective of their currencies (ISO 20022, CtrlSum). */
START_TEST(other_currencies)
{
    struct pain_order orders[4];
    make_orders(orders);
    orders[1] = orders[0];
    orders[1].end_to_end = "p-5";
    orders[1].amount.minor = 960;
    orders[1].currency = currency_find("ISK");
    orders[3] = orders[1];
    orders[3].end_to_end = "p-6";
    orders[3].amount.minor = 12345;
    orders[3].currency = currency_find("KWD");
    struct pain_file file = file_of(orders, 4);
    file.operator= with_iban;
    file.currency = currency_find("EUR");
    check_golden(pain001_write, &file, "pain001-currencies.xml");
}
END_TEST

START_TEST(order_of_orders_makes_no_difference)
{
    struct pain_order orders[4], turned[4];
    struct buffer one, other;
    make_orders(orders);
    for (size_t i = 0; i < 4; i++)
        turned[i] = orders[3 - i];
    struct pain_file file = file_of(orders, 4), turned_file = file_of(turned, 4);
    buffer_init(&one, FILE_MAX);
    buffer_init(&other, FILE_MAX);
    ck_assert(pain008_write(&file, &one) && pain008_write(&turned_file, &other));
    ck_assert_str_eq(one.data, other.data);
    buffer_dispose(&one);
    buffer_dispose(&other);
}
END_TEST

START_TEST(what_does_not_fit_is_refused)
{
    struct pain_order orders[4];
    struct buffer xml;
    make_orders(orders);
    struct pain_file file = file_of(orders, 4);
    buffer_init(&xml, 1000);
    ck_assert(!pain001_write(&file, &xml));
    ck_assert_uint_eq(xml.length, 0);
    buffer_dispose(&xml);
    buffer_init(&xml, FILE_MAX);
    orders[0].amount.minor = INT64_MAX;
    ck_assert(!pain001_write(&file, &xml));
    ck_assert_uint_eq(xml.length, 0);
    buffer_dispose(&xml);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("pain");
    TCase *tcase = tcase_create("pain");
    tcase_add_test(tcase, payouts);
    tcase_add_test(tcase, collections);
    tcase_add_test(tcase, euro_and_krona);
    tcase_add_test(tcase, other_currencies);
    tcase_add_test(tcase, order_of_orders_makes_no_difference);
    tcase_add_test(tcase, what_does_not_fit_is_refused);
    suite_add_tcase(suite, tcase);
    return suite;
}
