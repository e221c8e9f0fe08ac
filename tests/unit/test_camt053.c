/* SPDX-License-Identifier: ISC */
/* The reader of bank statements: the statements beside this file, each with the lines that are read from it
 * or the reason for its refusal. tests/http/test_bank.py checks with xmllint that the good ones are valid by
 * the schema of the standard. */
#include "payment/camt053.h"
#include "payment/camt053_balances.h"

#include "base/buffer.h"
#include "suite.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FILE_MAX = 1 << 20 };

static struct arena arena;

static void setup(void)
{
    arena_init(&arena, 0);
}

static void teardown(void)
{
    arena_dispose(&arena);
}

static size_t read_file(const char *name, char text[static FILE_MAX])
{
    char path[1024];
    snprintf(path, sizeof path, "%s/%s", GOLDEN, name);
    FILE *file = fopen(path, "r");
    ck_assert_msg(file != NULL, "%s", path);
    size_t length = fread(text, 1, FILE_MAX - 1, file);
    fclose(file);
    text[length] = '\0';
    return length;
}

static const char *or_dash(const char *text)
{
    return text != NULL ? text : "-";
}

static void describe_line(const struct camt_line *line, struct buffer *text)
{
    char amount[MONEY_TEXT_MAX], booked_on[DATE_TEXT_MAX] = "-";
    money_format(line->amount, 2, amount);
    if (line->dated)
        date_format(line->booked_on, booked_on);
    buffer_printf(text, "  %s %s e2e=%s bank=%s entry=%s/%d%s%s%s why=%s", amount, booked_on,
                  or_dash(line->end_to_end), or_dash(line->reference), or_dash(line->entry_reference),
                  (int)line->part, line->booked ? "" : " not-booked", line->returned ? " returned" : "",
                  line->unsplit ? " unsplit" : "", or_dash(line->return_reason));
    if (line->instructed.currency != NULL) {
        money_format(line->instructed.amount, line->instructed.currency->decimals, amount);
        buffer_printf(text, " instructed=%s %s", amount, line->instructed.currency->code);
    }
    buffer_add_char(text, '\n');
}

static void describe(const struct camt_document *document, struct buffer *text)
{
    for (size_t i = 0; i < document->count; i++) {
        const struct camt_statement *statement = &document->statements[i];
        buffer_printf(text, "%s iban=%s account=%s %s", statement->id, or_dash(statement->iban),
                      or_dash(statement->account), or_dash(statement->currency));
        for (size_t b = 0; b < statement->balance_count; b++) {
            char amount[MONEY_TEXT_MAX], on[DATE_TEXT_MAX];
            money_format(statement->balances[b].amount, 2, amount);
            date_format(statement->balances[b].on, on);
            buffer_printf(text, " %s=%s@%s", statement->balances[b].code, amount, on);
        }
        buffer_add_char(text, '\n');
        for (size_t l = 0; l < statement->line_count; l++)
            describe_line(&statement->lines[l], text);
    }
}

static enum camt_result read_text(const char *text, size_t length, struct camt_document *document)
{
    return camt053_read(text, length, currency_find("CAD"), &arena, document);
}

/* The signs of the amounts, the rule for batches and that for returns are this project's own; the elements
 * and the codes BOOK, PDNG, CRDT and DBIT are the standard's (the codes from memory). */
static const struct {
    const char *file, *expected;
} read[] = {
    {"camt053-plain.xml", "S-1 iban=GB29NWBK60161331926819 account=- CAD OPBD=100.00@2026-05-14 "
                          "CLBD=154.59@2026-05-14\n"
                          "  -56.01 2026-05-14 e2e=p-1 bank=B-1 entry=1/0 why=-\n"
                          "  110.60 2026-05-14 e2e=p-2 bank=B-2 entry=2/0 why=-\n"
                          "  -0.41 2026-05-14 e2e=p-3 bank=B-3 entry=-/0 not-booked why=-\n"
                          "  0.50 2026-05-14 e2e=- bank=- entry=-/0 not-booked why=-\n"
                          "  12.50 2026-05-14 e2e=- bank=- entry=-/0 why=-\n"
                          "  1.00 - e2e=- bank=- entry=-/0 why=-\n"
                          "  -1.10 2026-05-14 e2e=- bank=- entry=-/0 why=-\n"
                          "  -0.50 2026-05-14 e2e=- bank=- entry=-/0 why=-\n"
                          "  -5.00 2026-05-13 e2e=- bank=- entry=-/0 why=-\n"
                          "  0.00 2026-05-14 e2e=- bank=- entry=-/0 why=-\n"},
    {"camt053-batch.xml", "S-1 iban=GB29NWBK60161331926819 account=- CAD OPBD=100.00@2026-05-14 "
                          "CLBD=154.59@2026-05-14\n"
                          "  10.00 2026-05-14 e2e=p-1 bank=B-1 entry=-/0 why=-\n"
                          "  20.00 2026-05-14 e2e=p-2 bank=D-2 entry=-/1 why=-\n"
                          "  10.00 2026-05-14 e2e=p-3 bank=B-2 entry=-/0 why=-\n"
                          "  20.00 2026-05-14 e2e=p-4 bank=B-2 entry=-/1 why=-\n"
                          "  20.00 2026-05-14 e2e=p-5 bank=B-3 entry=-/0 why=-\n"
                          "  -5.00 2026-05-14 e2e=p-6 bank=B-3 entry=-/1 why=-\n"
                          "  30.00 2026-05-14 e2e=- bank=B-4 entry=-/0 unsplit why=-\n"
                          "  30.00 2026-05-14 e2e=- bank=B-5 entry=-/0 unsplit why=-\n"
                          "  30.00 2026-05-14 e2e=- bank=B-6 entry=-/0 unsplit why=-\n"
                          "  29.00 2026-05-14 e2e=p-13 bank=B-7 entry=-/0 why=-\n"},
    {"camt053-returns.xml", "S-1 iban=GB29NWBK60161331926819 account=- CAD OPBD=100.00@2026-05-14 "
                            "CLBD=154.59@2026-05-14\n"
                            "  56.01 2026-05-14 e2e=p-1 bank=B-1 entry=-/0 returned why=AC04\n"
                            "  -56.01 2026-05-14 e2e=p-2 bank=B-2 entry=-/0 returned why=closed\n"
                            "  -7.00 2026-05-14 e2e=p-3 bank=B-3 entry=-/0 returned why=-\n"
                            "  -7.00 2026-05-14 e2e=p-4 bank=B-4 entry=-/0 returned why=-\n"
                            "  -4.00 2026-05-14 e2e=p-5 bank=B-5 entry=-/0 returned why=AC04\n"
                            "  -5.00 2026-05-14 e2e=p-6 bank=B-5 entry=-/1 why=-\n"},
    {"camt053-several.xml", "S-1 iban=- account=000123456 - OPBD=0.00@2026-05-14 CLBD=0.00@2026-05-14\n"
                            "S-2 iban=GB29NWBK60161331926819 account=- CAD PRCD=-5.00@2026-05-13 "
                            "own=-4.00@2026-05-14\n"
                            "  1.00 2026-05-14 e2e=- bank=- entry=-/0 why=-\n"},
    {"camt053-foreign.xml", "S-1 iban=GB29NWBK60161331926819 account=- CAD OPBD=100.00@2026-05-14 "
                            "CLBD=154.59@2026-05-14\n"
                            "  1.00 2026-05-14 e2e=p-1 bank=- entry=-/0 why=-\n"},
    /* An amount that its currency can't have, and a currency that there is not, say nothing. A transaction's
     * own amount counts before its entry's, and the entry's is no amount of one of several. */
    {"camt053-instructed.xml", "S-1 iban=GB29NWBK60161331926819 account=- CAD OPBD=100.00@2026-05-14 "
                               "CLBD=154.59@2026-05-14\n"
                               "  -10.31 2026-05-14 e2e=p-1 bank=- entry=-/0 why=- instructed=960 ISK\n"
                               "  -10.31 2026-05-14 e2e=p-2 bank=- entry=-/0 why=- instructed=7.125 KWD\n"
                               "  10.00 2026-05-14 e2e=p-3 bank=- entry=-/0 why=- instructed=9.20 EUR\n"
                               "  20.00 2026-05-14 e2e=p-4 bank=- entry=-/1 why=-\n"
                               "  5.00 2026-05-14 e2e=p-5 bank=- entry=-/0 why=-\n"
                               "  5.00 2026-05-14 e2e=p-6 bank=- entry=-/0 why=-\n"
                               "  5.00 2026-05-14 e2e=- bank=- entry=-/0 why=- instructed=5.10 CAD\n"
                               "  5.00 2026-05-14 e2e=p-7 bank=- entry=-/0 why=- instructed=4.00 EUR\n"},
};

START_TEST(statements_are_read)
{
    static char text[FILE_MAX];
    struct camt_document document;
    struct buffer described;
    size_t length = read_file(read[_i].file, text);
    buffer_init(&described, FILE_MAX);
    enum camt_result result = read_text(text, length, &document);
    ck_assert_msg(result == CAMT_OK, "%s: %s", read[_i].file, document.detail);
    ck_assert_str_eq(document.message_id, "M-1");
    describe(&document, &described);
    ck_assert_str_eq(described.data, read[_i].expected);
    buffer_dispose(&described);
}
END_TEST

static void describe_stated(const char *name, struct camt_stated stated, struct buffer *text)
{
    char amount[MONEY_TEXT_MAX], on[DATE_TEXT_MAX];
    if (!stated.known) {
        buffer_printf(text, " %s=-", name);
        return;
    }
    money_format(stated.amount, 2, amount);
    date_format(stated.on, on);
    buffer_printf(text, " %s=%s@%s", name, amount, on);
}

/* The codes are ISO 20022's, of the external code set ExternalBalanceType1Code (from memory). Interim and
 * available balances are not what the account's lines explain, nor are a bank's own codes, and two balances
 * that contradict each other say nothing. The period is by the closing balance, what the bank names as its
 * period, the bookings, or the day on which it is read. */
START_TEST(booked_balances_and_days_are_told)
{
    static const char expected[] =
        "S-1 118 opening=-5.00@2026-05-11 closing=-2.00@2026-05-14 booked=3.00 2026-05-12..2026-05-14\n"
        "S-2 0 opening=5.00@2026-05-12 closing=- booked=2.00 2026-05-12..2026-05-13\n"
        "S-3 0 opening=- closing=- booked=0.00 2026-05-12..2026-05-13\n"
        "S-4 0 opening=- closing=- booked=0.00 2026-05-20..2026-05-20\n";
    static char text[FILE_MAX];
    struct camt_document document;
    struct buffer described;
    struct date today;
    ck_assert(date_parse("2026-05-20", 10, &today));
    ck_assert_int_eq(read_text(text, read_file("camt053-balances.xml", text), &document), CAMT_OK);
    buffer_init(&described, FILE_MAX);
    for (size_t i = 0; i < document.count; i++) {
        const struct camt_statement *statement = &document.statements[i];
        char amount[MONEY_TEXT_MAX], from[DATE_TEXT_MAX], to[DATE_TEXT_MAX];
        struct money booked;
        struct date first, last;
        ck_assert(camt053_booked(statement, &booked));
        camt053_days(statement, today, &first, &last);
        money_format(booked, 2, amount);
        date_format(first, from);
        date_format(last, to);
        buffer_printf(&described, "%s %d", statement->id, (int)statement->sequence);
        describe_stated("opening", camt053_opening(statement), &described);
        describe_stated("closing", camt053_closing(statement), &described);
        buffer_printf(&described, " booked=%s %s..%s\n", amount, from, to);
    }
    ck_assert_str_eq(described.data, expected);
    buffer_dispose(&described);
}
END_TEST

START_TEST(a_sum_out_of_range_is_noticed)
{
    struct camt_line lines[] = {{.amount = {INT64_MAX}, .booked = true}, {.amount = {1}, .booked = true}};
    struct camt_statement statement = {.lines = lines, .line_count = 2};
    struct money sum;
    ck_assert(!camt053_booked(&statement, &sum));
    lines[1].booked = false;
    ck_assert(camt053_booked(&statement, &sum) && sum.minor == INT64_MAX);
}
END_TEST

/* The reason for which each hostile or broken document is refused. */
static const struct {
    const char *name;
    enum camt_result result;
} refused[] = {
    {"laughs", CAMT_NOT_XML},
    {"laughs-attribute", CAMT_NOT_XML},
    {"utf-16-laughs", CAMT_NOT_XML},
    {"utf-7-laughs", CAMT_NOT_XML}, /* the reader sees no more than its declaration */
    {"external-entity", CAMT_NOT_XML},
    {"external-subset", CAMT_NOT_XML},
    {"undefined-entity", CAMT_NOT_XML},
    {"utf-16", CAMT_NOT_XML},
    {"latin-1", CAMT_NOT_XML},
    {"nul", CAMT_NOT_XML},
    {"empty", CAMT_NOT_XML},
    {"json", CAMT_NOT_XML},
    {"truncated", CAMT_NOT_XML},
    {"two-roots", CAMT_NOT_XML},
    {"deep", CAMT_TOO_LARGE},
    {"deeper", CAMT_TOO_LARGE},
    {"many-attributes", CAMT_TOO_LARGE},
    {"old-version", CAMT_OTHER},
    {"no-namespace", CAMT_OTHER},
    {"other-message", CAMT_OTHER},
    {"foreign-element", CAMT_OTHER},
    {"currency", CAMT_CURRENCY},
    {"no-currency", CAMT_CURRENCY},
    {"account-currency", CAMT_CURRENCY},
    {"no-statement", CAMT_INVALID},
    {"no-id", CAMT_INVALID},
    {"two-ids", CAMT_INVALID},
    {"no-account", CAMT_INVALID},
    {"two-accounts", CAMT_INVALID},
    {"long-id", CAMT_INVALID},
    {"very-long-id", CAMT_INVALID},
    {"empty-id", CAMT_INVALID},
    {"bad-date", CAMT_INVALID},
    {"bad-sign", CAMT_INVALID},
    {"no-sign", CAMT_INVALID},
    {"bad-sequence", CAMT_INVALID},
    {"two-sequences", CAMT_INVALID},
    {"bad-period", CAMT_INVALID},
    {"no-status", CAMT_INVALID},
    {"bad-reversal", CAMT_INVALID},
    {"two-amounts", CAMT_INVALID},
    {"two-instructed", CAMT_INVALID},
    {"split-amount", CAMT_INVALID},
    {"bare-balance", CAMT_INVALID},
    {"amount-0", CAMT_INVALID},
    {"amount-1", CAMT_INVALID},
    {"amount-2", CAMT_INVALID},
    {"amount-3", CAMT_INVALID},
    {"amount-4", CAMT_INVALID},
    {"amount-5", CAMT_INVALID},
    {"amount-6", CAMT_INVALID},
    {"amount-7", CAMT_INVALID},
    {"amount-8", CAMT_INVALID},
    {"amount-9", CAMT_INVALID},
};

START_TEST(hostile_and_broken_ones_are_refused)
{
    static char text[FILE_MAX];
    char name[64];
    struct camt_document document;
    snprintf(name, sizeof name, "refused-%s.xml", refused[_i].name);
    size_t length = read_file(name, text);
    enum camt_result result = read_text(text, length, &document);
    ck_assert_msg(result == refused[_i].result, "%s: %d: %s", name, (int)result, document.detail);
    ck_assert_str_ne(document.detail, "");
    for (const char *at = document.detail; *at != '\0'; at++)
        ck_assert(*at >= ' ' && *at < 0x7f);
}
END_TEST

/* A document that is cut off anywhere is not well-formed, and is refused as a whole. */
START_TEST(cut_off_anywhere_it_is_refused)
{
    static char text[FILE_MAX];
    struct camt_document document;
    size_t length = read_file("camt053-batch.xml", text);
    while (text[length - 1] == '\n')
        length--;
    for (size_t cut = 0; cut < length; cut++) {
        char *piece = malloc(cut + 1); /* of its exact size, so that reading beyond it is found */
        memcpy(piece, text, cut);
        ck_assert_int_ne(read_text(piece, cut, &document), CAMT_OK);
        free(piece);
        arena_reset(&arena);
    }
}
END_TEST

/* A document that is changed anywhere is read or refused; nothing worse happens. */
START_TEST(changed_anywhere_it_does_no_harm)
{
    static char text[FILE_MAX];
    unsigned seed = 53;
    size_t length = read_file("camt053-returns.xml", text);
    for (int round = 0; round < 4000; round++) {
        struct camt_document document;
        char *changed = malloc(length);
        memcpy(changed, text, length);
        for (int i = 0; i <= round % 3; i++) {
            seed = seed * 1103515245u + 12345u;
            char any = (char)(seed >> 24), markup = "<>/&;\"!]"[seed >> 29];
            changed[(seed >> 8) % length] = round % 2 == 0 ? any : markup;
        }
        enum camt_result result = read_text(changed, length, &document);
        ck_assert((result == CAMT_OK) == (document.detail[0] == '\0'));
        free(changed);
        arena_reset(&arena);
    }
}
END_TEST

static void many(const char *opening, const char *repeated, size_t times, const char *ending,
                 enum camt_result expected)
{
    struct camt_document document;
    struct buffer text;
    buffer_init(&text, 64 << 20);
    buffer_add_text(&text,
                    "<Document xmlns=\"urn:iso:std:iso:20022:tech:xsd:camt.053.001.08\"><BkToCstmrStmt>");
    buffer_add_text(&text, opening);
    for (size_t i = 0; i < times; i++)
        buffer_add_text(&text, repeated);
    buffer_add_text(&text, ending);
    buffer_add_text(&text, "</BkToCstmrStmt></Document>");
    ck_assert(!text.failed);
    enum camt_result result = read_text(text.data, text.length, &document);
    ck_assert_msg(result == expected, "%d: %s", (int)result, document.detail);
    buffer_dispose(&text);
    arena_reset(&arena);
}

#define ACCOUNT "<Id>S</Id><Acct><Id><IBAN>NO9386011117947</IBAN></Id></Acct>"
#define AMOUNT  "<Amt Ccy=\"CAD\">1</Amt><CdtDbtInd>CRDT</CdtDbtInd><Sts><Cd>BOOK</Cd></Sts>"

START_TEST(numbers_are_bounded)
{
    static const char entry[] = "<Ntry>" AMOUNT "</Ntry>";
    static const char detail[] = "<TxDtls><Amt Ccy=\"CAD\">1</Amt></TxDtls>";
    many("<Stmt>" ACCOUNT, entry, CAMT_LINES_MAX, "</Stmt>", CAMT_OK);
    many("<Stmt>" ACCOUNT, entry, CAMT_LINES_MAX + 1, "</Stmt>", CAMT_TOO_LARGE);
    many("<Stmt>" ACCOUNT "<Ntry>" AMOUNT "<NtryDtls>", detail, CAMT_LINES_MAX + 1,
         "</NtryDtls></Ntry></Stmt>", CAMT_TOO_LARGE);
    many("", "<Stmt>" ACCOUNT "</Stmt>", CAMT_STATEMENTS_MAX, "", CAMT_OK);
    many("", "<Stmt>" ACCOUNT "</Stmt>", CAMT_STATEMENTS_MAX + 1, "", CAMT_TOO_LARGE);
}
END_TEST

/* The reader takes amounts in the decimals of their currency. */
START_TEST(decimals_are_the_currency_s)
{
    static const struct {
        const char *code, *amount;
        int64_t minor;
    } amounts[] = {{"ISK", "600", 600},    {"ISK", "600.0", 600}, {"ISK", "600.5", -1},
                   {"KWD", "6.000", 6000}, {"KWD", "6.0005", -1}, {"UYW", "1.2345", 12345},
                   {"CAD", "6.1", 610}};
    for (size_t i = 0; i < sizeof amounts / sizeof amounts[0]; i++) {
        char text[1024];
        struct camt_document document;
        int length = snprintf(
            text, sizeof text,
            "<Document xmlns=\"urn:iso:std:iso:20022:tech:xsd:camt.053.001.08\"><BkToCstmrStmt><Stmt>" ACCOUNT
            "<Ntry><Amt Ccy=\"%s\">%s</Amt><CdtDbtInd>DBIT</CdtDbtInd><Sts><Cd>BOOK</Cd></Sts></Ntry></Stmt>"
            "</BkToCstmrStmt></Document>",
            amounts[i].code, amounts[i].amount);
        const struct currency *currency = currency_find(amounts[i].code);
        enum camt_result result = camt053_read(text, (size_t)length, currency, &arena, &document);
        ck_assert_int_eq(result, amounts[i].minor < 0 ? CAMT_INVALID : CAMT_OK);
        if (result == CAMT_OK)
            ck_assert_int_eq(document.statements[0].lines[0].amount.minor, -amounts[i].minor);
    }
}
END_TEST

START_TEST(without_memory_it_says_so)
{
    static char text[FILE_MAX];
    size_t length = read_file("camt053-plain.xml", text);
    struct camt_document document;
    struct arena small;
    arena_init(&small, 3000);
    ck_assert_int_eq(camt053_read(text, length, currency_find("CAD"), &small, &document), CAMT_NO_MEMORY);
    arena_dispose(&small);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("camt053");
    TCase *tcase = tcase_create("camt053");
    camt053_init();
    tcase_set_timeout(tcase, 60);
    tcase_add_checked_fixture(tcase, setup, teardown);
    tcase_add_loop_test(tcase, statements_are_read, 0, (int)(sizeof read / sizeof read[0]));
    tcase_add_test(tcase, booked_balances_and_days_are_told);
    tcase_add_test(tcase, a_sum_out_of_range_is_noticed);
    tcase_add_loop_test(tcase, hostile_and_broken_ones_are_refused, 0,
                        (int)(sizeof refused / sizeof refused[0]));
    tcase_add_test(tcase, cut_off_anywhere_it_is_refused);
    tcase_add_test(tcase, changed_anywhere_it_does_no_harm);
    tcase_add_test(tcase, numbers_are_bounded);
    tcase_add_test(tcase, decimals_are_the_currency_s);
    tcase_add_test(tcase, without_memory_it_says_so);
    suite_add_tcase(suite, tcase);
    return suite;
}
