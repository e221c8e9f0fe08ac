/* SPDX-License-Identifier: ISC */
/* The words of a page, in its language, which its buffer has. Every text is escaped. Any thread. */
#ifndef DEPOSITD_REPORT_HTML_WORDS_H
#define DEPOSITD_REPORT_HTML_WORDS_H

#include "base/buffer.h"

/* Fixed words, given in English. Words that have no translation are marked as English (WCAG 2.2, 3.1.2). */
void html_word(struct buffer *page, const char *english);
/* Words that have several meanings in English. The context, such as "verb", says which is meant. */
void html_word_of(struct buffer *page, const char *context, const char *english);
/* Fixed words in an attribute or another place that takes no element. */
void html_plain_word(struct buffer *page, const char *english);
/* A sentence with data in the places %1, %2 …, as html_say(page, "Recorded at %1.", time). */
void html_say_with(struct buffer *page, const char *english, const char *const *parts);
#define html_say(page, english, ...) html_say_with((page), (english), (const char *const[]){__VA_ARGS__})
/* A sentence that begins with words and goes on with a bold figure in the place %1, and two parts after it.
 */
void html_say_figure_with(struct buffer *page, const char *english, const char *figure,
                          const char *const *parts);
#define html_say_figure(page, english, figure, second, third)                                                \
    html_say_figure_with((page), (english), (figure), (const char *const[]){(second), (third)})
/* Writes the part of a sentence that stands in the place %1, %2 … */
typedef void (*html_part)(struct buffer *page, int number, const void *context);
/* A sentence whose parts are more than text: links, figures, times. Each is written in its place. */
void html_say_parts(struct buffer *page, const char *english, html_part part, const void *context);
/* A sentence with a whole number in the place %1. */
void html_say_count(struct buffer *page, const char *english, int64_t count);
/* A text that printf has made for the format, in the page's language. */
void html_said(struct buffer *page, const char *format, const char *text);
/* The name of a member or column as a person writes it: "business_date" is "Business date". */
void html_label(struct buffer *page, const char *name);
/* The same, in an attribute or another place that takes no element. */
void html_plain_label(struct buffer *page, const char *name);
/* A member's value: if it is a word of the machine, as "in_transit", words for people in an element <data>,
 * else the text. */
void html_value(struct buffer *page, const char *member, const char *value);
/* A decimal fraction as percent: "0.15" is "15%". */
void html_rate(struct buffer *page, const char *fraction);
/* The name beside a code that was just written. NULL: there is none. */
void html_name_beside(struct buffer *page, const char *name);
/* A date in words: "2026-11-27" is "27 November 2026", or "Friday 27 November 2026". */
void html_date(struct buffer *page, const char *date, bool weekday);
/* The option of a list to choose from: a word of the machine, in people's words. The page is within the list.
 */
void html_option(struct buffer *page, const char *value, const char *label, bool chosen);

#endif
