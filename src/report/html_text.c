/* SPDX-License-Identifier: ISC */
/* The characters that HTML gives a meaning are written as references. */
#include "report/html_text.h"

#include "depositd/money.h"

#include <string.h>

/* U+2212 has the width of a digit, and no line ends after it. */
static const char MINUS[] = "\xe2\x88\x92", DASH[] = "\xe2\x80\x93";

/* The text that stands for a character; NULL: itself. Control characters, which no page may hold, become
 * U+FFFD. */
static const char *replacement(char character)
{
    switch (character) {
    case '&':
        return "&amp;";
    case '<':
        return "&lt;";
    case '>':
        return "&gt;";
    case '"':
        return "&quot;";
    case '\'':
        return "&#39;";
    case '\t':
    case '\n':
        return NULL;
    case 0x7f:
        return "\xef\xbf\xbd";
    default:
        return (unsigned char)character < 0x20 ? "\xef\xbf\xbd" : NULL;
    }
}

void html_text(struct buffer *page, const char *text)
{
    const char *start = text; /* of the run that is not added yet */
    for (; *text != '\0'; text++) {
        const char *other = replacement(*text);
        if (other == NULL)
            continue;
        buffer_add(page, start, (size_t)(text - start));
        buffer_add_text(page, other);
        start = text + 1;
    }
    buffer_add(page, start, (size_t)(text - start));
}

void html_open(struct buffer *page, const char *element, const char *attribute, const char *value)
{
    buffer_printf(page, "<%s %s=\"", element, attribute);
    html_text(page, value);
    buffer_add_text(page, "\">");
}

bool html_is_figure(const char *text)
{
    struct decimal number;
    return decimal_parse(text, strlen(text), &number);
}

bool html_is_zero(const char *number)
{
    struct decimal value;
    return decimal_parse(number, strlen(number), &value) && value.unscaled == 0;
}

void html_number(struct buffer *page, const char *number)
{
    bool less = *number == '-' && html_is_figure(number);
    buffer_add_text(page, less ? MINUS : "");
    html_text(page, number + less);
}

void html_figure(struct buffer *page, const char *number)
{
    if (html_is_figure(number) && *number == '-') {
        buffer_add_text(page, MINUS);
        number++;
    }
    size_t whole = strspn(number, "0123456789");
    if (!html_is_figure(number) || whole <= 4) {
        html_text(page, number);
        return;
    }
    size_t first = whole % 3 != 0 ? whole % 3 : 3;
    buffer_add(page, number, first);
    number += first;
    for (size_t left = whole - first; left > 0; left -= 3, number += 3) {
        buffer_add_text(page, "<span>");
        buffer_add(page, number, 3);
        buffer_add_text(page, "</span>");
    }
    html_text(page, number);
}

void html_nothing(struct buffer *page, const char *zero)
{
    html_open(page, "data", "value", zero);
    buffer_printf(page, "%s</data>", DASH);
}
