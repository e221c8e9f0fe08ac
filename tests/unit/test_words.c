/* SPDX-License-Identifier: ISC */
/* Words of languages: looking them up, sentences with parts, dates, labels, and the choice of a language. */
#include "http/request/language.h"
#include "report/html.h"
#include "words/dates.h"
#include "words/labels.h"
#include "written.h"

#include <stdio.h>
#include <string.h>

static void set_up(void)
{
    buffer_init(&text, 1 << 16);
    text.words = words_of("fr", 2);
}

START_TEST(languages_have_codes)
{
    ck_assert_str_eq(words_codes[0], "en");
    ck_assert_ptr_null(words_of("en", 2));
    ck_assert_ptr_null(words_of("xx", 2));
    ck_assert_str_eq(words_code(NULL), "en");
    ck_assert_str_eq(words_code(words_of("FR-CA", 2)), "fr");
}
END_TEST

START_TEST(words_are_found_by_their_context)
{
    const struct words *french = words_of("fr", 2);
    ck_assert_str_eq(words_find(NULL, "verb", "Show"), "Show");
    ck_assert_str_eq(words_find(french, NULL, "Sign out"), "Se déconnecter");
    ck_assert_str_eq(words_find(french, "verb", "Show"), "Afficher");
    ck_assert_str_eq(words_find(french, "a context without a row", "Sign out"), "Se déconnecter");
    ck_assert_ptr_null(words_within(french, "a context without a row", "Sign out"));
    ck_assert_ptr_null(words_find(french, NULL, "Show"));
    ck_assert_ptr_null(words_find(french, NULL, "no such words"));
    for (size_t i = 1; i < french->count; i++)
        ck_assert_int_lt(strcmp(french->items[i - 1].key, french->items[i].key), 0);
}
END_TEST

START_TEST(words_without_a_translation_are_marked)
{
    /* WCAG 2.2, success criterion 3.1.2: the language of each part of a page. */
    html_word(&text, "no <such> words");
    expect("<span lang=\"en\">no &lt;such&gt; words</span>");
    html_say(&text, "no such words of %1", "<me>");
    expect("<span lang=\"en\">no such words of &lt;me&gt;</span>");
    html_plain_word(&text, "no such words");
    expect("no such words");
    html_label(&text, "no_such_name");
    expect("<span lang=\"en\">No such name</span>");
    html_option(&text, "x", "no_such_word", true);
    expect("<option value=\"x\" lang=\"en\" selected>No such word</option>");
    html_word(&text, "Sign out");
    expect("Se déconnecter");
    text.words = NULL;
    html_word(&text, "no such words");
    expect("no such words");
}
END_TEST

START_TEST(sentences_keep_their_parts)
{
    html_say(&text, "Recorded at %1.", "<12:00>");
    expect("Enregistré à &lt;12:00&gt;.");
    html_said(&text, "must be %lld to %lld", "must be 1 to 9");
    expect("doit aller de 1 à 9");
    html_said(&text, "%s", "is required");
    expect("est obligatoire");
    html_said(&text, "must be %lld to %lld", "is made of another format");
    expect("<span lang=\"en\">is made of another format</span>");
}
END_TEST

START_TEST(parts_are_found_in_a_text)
{
    struct words_part parts[WORDS_PARTS_MAX];
    size_t count;
    ck_assert(words_parts("50%% of %s: line %d, %04lld", "50% of a b: line 7, 0012", parts, &count));
    ck_assert_uint_eq(count, 3);
    ck_assert(parts[0].length == 3 && strncmp(parts[0].text, "a b", 3) == 0);
    ck_assert(parts[1].length == 1 && *parts[1].text == '7');
    ck_assert(parts[2].length == 4 && strncmp(parts[2].text, "0012", 4) == 0);
    ck_assert(words_parts("no parts", "no parts", parts, &count));
    ck_assert_uint_eq(count, 0);
    ck_assert(!words_parts("at %d", "on 7", parts, &count));
    ck_assert(!words_parts("at %d o'clock", "at 7", parts, &count));
    ck_assert(!words_parts("%s%s", "ab", parts, &count));
    ck_assert(!words_parts("%s %s %s %s %s %s %s %s %s %s", "1 2 3 4 5 6 7 8 9 10", parts, &count));
    const struct words_part two[] = {{"one", 3}, {"two", 3}};
    words_fill(&text, "%2 before %1, 100%%", two, 2);
    expect("two before one, 100%");
    words_fill(&text, "%s, %d and %3", two, 2);
    expect("one, two and ");
}
END_TEST

START_TEST(dates_are_words)
{
    words_date(&text, "2026-11-27", true);
    expect("vendredi 27 novembre 2026");
    words_date(&text, "2027-01-01", false);
    expect("1er janvier 2027");
    words_date(&text, "no date", true);
    expect("no date");
    text.words = NULL;
    words_date(&text, "1970-01-01", true);
    expect("Thursday 1 January 1970");
    words_date(&text, "2026-11-29", true);
    expect("Sunday 29 November 2026");
}
END_TEST

START_TEST(names_have_labels)
{
    char label[WORDS_LABEL_SIZE], long_name[2 * WORDS_LABEL_SIZE];
    ck_assert(words_label("business_date", label));
    ck_assert_str_eq(label, "Business date");
    ck_assert(words_label("rate_7", label));
    ck_assert_str_eq(label, "Rate within 7 days");
    memset(long_name, 'a', sizeof long_name - 1);
    long_name[sizeof long_name - 1] = '\0';
    ck_assert(!words_label(long_name, label) && !words_plain(long_name, label));
    ck_assert(words_plain("in_transit", label));
    ck_assert_str_eq(label, "in transit");
    ck_assert(!words_plain("Anchor", label) && !words_plain("", label) && !words_plain("7", label));
    html_value(&text, "state", "in_transit");
    expect("<data value=\"in_transit\">en transit</data>");
    html_value(&text, "site", "in_transit"); /* a code */
    expect("in_transit");
}
END_TEST

START_TEST(rates_are_percent)
{
    static const struct {
        const char *rate, *percent;
    } cases[] = {{"0.15", "15"}, {"0.9", "90"},       {"1", "100"},     {"0.05", "5"},
                 {"0", "0"},     {"0.8462", "84.62"}, {"12.5", "1250"}, {"-0.05", "-5"}};
    text.words = NULL;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char wanted[80];
        snprintf(wanted, sizeof wanted, "<data value=\"%s\">%s%%</data>", cases[i].rate, cases[i].percent);
        html_rate(&text, cases[i].rate);
        expect(wanted);
    }
    html_rate(&text, "no rate");
    expect("no rate");
}
END_TEST

static const char *chosen(const char *accept)
{
    return words_code(language_negotiate(accept));
}

START_TEST(accept_language_is_read_as_rfc_9110_has_it)
{
    /* Section 12.5.4, with weights as in section 12.4.2. A region is cut off as in RFC 4647 section 3.4. */
    ck_assert_str_eq(chosen(NULL), "en");
    ck_assert_str_eq(chosen(""), "en");
    ck_assert_str_eq(chosen("fr"), "fr");
    ck_assert_str_eq(chosen("FR-ca"), "fr");
    ck_assert_str_eq(chosen("fr-CA,fr;q=0.9,en;q=0.8"), "fr");
    ck_assert_str_eq(chosen("da, en-gb;q=0.8, en;q=0.7, fr;q=0.75"), "fr");
    ck_assert_str_eq(chosen("en;q=0.5, fr;q=0.4"), "en");
    ck_assert_str_eq(chosen("de, fr, en"), "fr");
    ck_assert_str_eq(chosen("de, en, fr"), "en");
    ck_assert_str_eq(chosen("*"), "en");
    ck_assert_str_eq(chosen("en;q=0, *"), "fr");
    ck_assert_str_eq(chosen("fr;q=0, fr-CA"), "en");
    ck_assert_str_eq(chosen("fra, frx-CA"), "en");
    ck_assert_str_eq(chosen("de"), "en");
    ck_assert_str_eq(chosen(" ,, fr ;q=0.1 ,"), "fr");
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("words");
    TCase *cases = tcase_create("words");
    tcase_add_checked_fixture(cases, set_up, tear_down);
    tcase_add_test(cases, languages_have_codes);
    tcase_add_test(cases, words_are_found_by_their_context);
    tcase_add_test(cases, words_without_a_translation_are_marked);
    tcase_add_test(cases, sentences_keep_their_parts);
    tcase_add_test(cases, parts_are_found_in_a_text);
    tcase_add_test(cases, dates_are_words);
    tcase_add_test(cases, names_have_labels);
    tcase_add_test(cases, rates_are_percent);
    tcase_add_test(cases, accept_language_is_read_as_rfc_9110_has_it);
    suite_add_tcase(suite, cases);
    return suite;
}
