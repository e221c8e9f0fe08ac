/* SPDX-License-Identifier: ISC */
/* Words that have no translation are marked as English. */
#include "report/html_words.h"

#include "report/html_text.h"
#include "words/dates.h"
#include "words/labels.h"
#include "words/words.h"

#include <assert.h>
#include <stdio.h>
#include <string.h>

/* Marks what is written between these two as English. */
static void begin_english(struct buffer *page)
{
    buffer_add_text(page, "<span lang=\"en\">");
}

static void end_english(struct buffer *page)
{
    buffer_add_text(page, "</span>");
}

void html_word_of(struct buffer *page, const char *context, const char *english)
{
    const char *text = words_find(page->words, context, english);
    if (text == NULL)
        begin_english(page);
    html_text(page, text != NULL ? text : english);
    if (text == NULL)
        end_english(page);
}

void html_word(struct buffer *page, const char *english)
{
    html_word_of(page, NULL, english);
}

void html_plain_word(struct buffer *page, const char *english)
{
    const char *text = words_find(page->words, NULL, english);
    html_text(page, text != NULL ? text : english);
}

enum { SENTENCE_MAX = 8192 };

/* Writes a sentence, which is in English all the same if it has no translation. */
static void add_sentence(struct buffer *page, const struct buffer *sentence, bool translated)
{
    page->failed = page->failed || sentence->failed;
    if (!translated)
        begin_english(page);
    html_text(page, sentence->data != NULL ? sentence->data : "");
    if (!translated)
        end_english(page);
}

void html_say_with(struct buffer *page, const char *english, const char *const *parts)
{
    struct buffer sentence;
    buffer_init(&sentence, SENTENCE_MAX);
    sentence.words = page->words;
    bool translated = words_say_with(&sentence, english, parts);
    add_sentence(page, &sentence, translated);
    buffer_dispose(&sentence);
}

void html_say_figure_with(struct buffer *page, const char *english, const char *figure,
                          const char *const *parts)
{
    struct words_part known[] = {{"", 0}, {parts[0], strlen(parts[0])}, {parts[1], strlen(parts[1])}};
    const char *pattern = words_find(page->words, NULL, english);
    const char *used = pattern != NULL ? pattern : english, *place = strstr(used, "%1");
    struct buffer before, after;
    assert(place != NULL);
    buffer_init(&before, SENTENCE_MAX);
    buffer_init(&after, SENTENCE_MAX);
    buffer_add(&before, used, (size_t)(place - used));
    words_fill(&after, place + strlen("%1"), known, sizeof known / sizeof known[0]);
    add_sentence(page, &before, pattern != NULL);
    buffer_add_text(page, "<b>");
    html_figure(page, figure);
    buffer_add_text(page, "</b>");
    add_sentence(page, &after, pattern != NULL);
    buffer_dispose(&before);
    buffer_dispose(&after);
}

/* The first place in a pattern; its end if it has no more. */
static const char *next_place(const char *pattern)
{
    const char *at = strchr(pattern, '%');
    while (at != NULL && (at[1] < '1' || at[1] > '9'))
        at = strchr(at + 1, '%');
    return at != NULL ? at : pattern + strlen(pattern);
}

void html_say_parts(struct buffer *page, const char *english, html_part part, const void *context)
{
    const char *pattern = words_find(page->words, NULL, english), *at = pattern != NULL ? pattern : english;
    while (*at != '\0') {
        const char *place = next_place(at);
        struct buffer piece;
        buffer_init(&piece, SENTENCE_MAX);
        buffer_add(&piece, at, (size_t)(place - at));
        if (place > at)
            add_sentence(page, &piece, pattern != NULL);
        buffer_dispose(&piece);
        if (*place != '\0')
            part(page, place[1] - '0', context);
        at = *place != '\0' ? place + 2 : place;
    }
}

static void add_count(struct buffer *page, int number, const void *count)
{
    char text[32];
    (void)number;
    snprintf(text, sizeof text, "%lld", (long long)*(const int64_t *)count);
    html_figure(page, text);
}

void html_say_count(struct buffer *page, const char *english, int64_t count)
{
    html_say_parts(page, english, add_count, &count);
}

void html_said(struct buffer *page, const char *format, const char *text)
{
    struct words_part parts[WORDS_PARTS_MAX];
    struct buffer sentence;
    size_t count;
    const char *pattern = page->words != NULL ? words_find(page->words, NULL, format) : NULL;
    if (pattern == NULL || !words_parts(format, text, parts, &count)) {
        html_word(page, text);
        return;
    }
    buffer_init(&sentence, SENTENCE_MAX);
    words_fill(&sentence, pattern, parts, count);
    add_sentence(page, &sentence, true);
    buffer_dispose(&sentence);
}

void html_label(struct buffer *page, const char *name)
{
    char label[WORDS_LABEL_SIZE] = "";
    bool translated = words_label_in(page->words, name, label) || page->words == NULL || *name == '\0';
    if (!translated)
        begin_english(page);
    html_text(page, *label != '\0' ? label : name);
    if (!translated)
        end_english(page);
}

void html_plain_label(struct buffer *page, const char *name)
{
    char label[WORDS_LABEL_SIZE] = "";
    (void)words_label_in(page->words, name, label);
    html_text(page, *label != '\0' ? label : name);
}

/* A text for people with the machine's own value beside it. */
static void begin_data(struct buffer *page, const char *value)
{
    html_open(page, "data", "value", value);
}

static void end_data(struct buffer *page)
{
    buffer_add_text(page, "</data>");
}

void html_value(struct buffer *page, const char *member, const char *value)
{
    char plain[WORDS_LABEL_SIZE];
    bool is_word = words_plain(value, plain);
    const char *text = is_word ? words_within(page->words, member, plain) : NULL;
    if (text == NULL && (!is_word || !words_are_values(member))) {
        html_text(page, value);
        return;
    }
    text = words_find(page->words, member, plain);
    if (text != NULL && strcmp(text, value) == 0) {
        html_text(page, value);
        return;
    }
    begin_data(page, value);
    html_word_of(page, member, plain);
    end_data(page);
}

/* A decimal fraction as a number of hundredths: "0.1500" is "15.00". False: it is too long. */
static bool percent_of(const char *fraction, char percent[static WORDS_LABEL_SIZE])
{
    size_t sign = *fraction == '-', whole = strspn(fraction + sign, "0123456789");
    const char *point = fraction[sign + whole] == '.' ? fraction + sign + whole + 1 : "";
    size_t decimals = strlen(point), zeros = whole == 1 && fraction[sign] == '0';
    char digits[WORDS_LABEL_SIZE];
    int length = snprintf(digits, sizeof digits, "%.*s%s%s", (int)(whole - zeros), fraction + sign + zeros,
                          point, &"00"[decimals < 2 ? decimals : 2]);
    size_t count = strspn(digits, "0");
    if (length < 0 || length + 4 >= (int)sizeof digits)
        return false;
    size_t units = whole - zeros + 2; /* digits before the point */
    count = count < units - 1 ? count : units - 1;
    snprintf(percent, WORDS_LABEL_SIZE, "%s%.*s%s%s", sign ? "-" : "", (int)(units - count), digits + count,
             digits[units] != '\0' ? "." : "", digits + units);
    return true;
}

void html_rate(struct buffer *page, const char *fraction)
{
    char percent[WORDS_LABEL_SIZE];
    if (!html_is_figure(fraction) || !percent_of(fraction, percent)) {
        html_text(page, fraction);
        return;
    }
    begin_data(page, fraction);
    html_say(page, "%1%%", percent);
    end_data(page);
}

void html_name_beside(struct buffer *page, const char *name)
{
    if (name == NULL)
        return;
    buffer_add_text(page, "<small class=\"name\"> \xc2\xb7 ");
    html_text(page, name);
    buffer_add_text(page, "</small>");
}

void html_date(struct buffer *page, const char *date, bool weekday)
{
    struct buffer written;
    buffer_init(&written, SENTENCE_MAX);
    written.words = page->words;
    words_date(&written, date, weekday);
    add_sentence(page, &written, true);
    buffer_dispose(&written);
}

void html_option(struct buffer *page, const char *value, const char *label, bool chosen)
{
    char words[WORDS_LABEL_SIZE] = "";
    bool known = words_label_in(page->words, label, words) || page->words == NULL || *label == '\0';
    buffer_add_text(page, "<option value=\"");
    html_text(page, value);
    buffer_printf(page, "\"%s%s>", known ? "" : " lang=\"en\"", chosen ? " selected" : "");
    html_text(page, *words != '\0' ? words : label);
    buffer_add_text(page, "</option>");
}
