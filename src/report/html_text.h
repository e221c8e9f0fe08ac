/* SPDX-License-Identifier: ISC */
/* The data of a page: texts and figures. Every text is escaped here. Any thread. */
#ifndef DEPOSITD_REPORT_HTML_TEXT_H
#define DEPOSITD_REPORT_HTML_TEXT_H

#include "base/buffer.h"

/* A text, escaped for content and for quoted attributes. */
void html_text(struct buffer *page, const char *text);
/* <name attribute="value">, the value escaped. */
void html_open(struct buffer *page, const char *element, const char *attribute, const char *value);
/* A decimal number with a true minus sign, as text alone. */
void html_number(struct buffer *page, const char *number);
/* The same, and its thousands set apart for the eye: the digits are as they were given. */
void html_figure(struct buffer *page, const char *number);
/* The dash that stands for a zero in a table of amounts; the zero is its machine-readable value. */
void html_nothing(struct buffer *page, const char *zero);
bool html_is_zero(const char *number);
/* "-12.50", "7": whether it is to be read as a number. */
bool html_is_figure(const char *text);

#endif
