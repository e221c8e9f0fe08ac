/* SPDX-License-Identifier: ISC */
/* Looks words up by binary search, and takes sentences apart. */
#include "words/words.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { KEY_MAX = 1024 };
#define CONTEXT_END "\004" /* as GNU gettext separates a context from its word */

static bool is_code(const char *code, const char *text, size_t length)
{
    return strlen(code) == length && strncasecmp(code, text, length) == 0;
}

const struct words *words_of(const char *code, size_t length)
{
    for (size_t i = 0; i < words_table_count; i++)
        if (is_code(words_tables[i].code, code, length))
            return &words_tables[i];
    return NULL;
}

bool words_known(const char *code, size_t length)
{
    for (size_t i = 0; words_codes[i] != NULL; i++)
        if (is_code(words_codes[i], code, length))
            return true;
    return false;
}

const char *words_code(const struct words *words)
{
    return words != NULL ? words->code : words_codes[0];
}

static int compare(const void *key, const void *word)
{
    return strcmp(key, ((const struct word *)word)->key);
}

static const char *find(const struct words *words, const char *key)
{
    const struct word *word = bsearch(key, words->items, words->count, sizeof *words->items, compare);
    return word != NULL ? word->text : NULL;
}

const char *words_within(const struct words *words, const char *context, const char *english)
{
    char key[KEY_MAX];
    if (words == NULL ||
        snprintf(key, sizeof key, "%s" CONTEXT_END "%s", context, english) >= (int)sizeof key)
        return NULL;
    return find(words, key);
}

const char *words_find(const struct words *words, const char *context, const char *english)
{
    if (words == NULL)
        return english;
    const char *text = context != NULL ? words_within(words, context, english) : NULL;
    return text != NULL ? text : find(words, english);
}

/* --- sentences ----------------------------------------------------------------------------------------- */

/* The end of a conversion of printf, as "%.*s" or "%04lld". */
static const char *conversion_end(const char *at)
{
    at += strspn(at, "%");
    at += strspn(at, "-+ #0123456789.*");
    at += strspn(at, "hlzjt");
    return *at != '\0' ? at + 1 : at;
}

/* Takes the literal text before the next conversion off both. False: it is not the same in both. */
static bool pass_literal(const char **format, const char **text)
{
    while (**format != '\0' && (**format != '%' || (*format)[1] == '%')) {
        if (**format != **text)
            return false;
        *format += **format == '%' ? 2 : 1;
        *text += 1;
    }
    return true;
}

/* Where a part ends: before the literal text that follows its conversion. NULL: nowhere. */
static const char *part_end(const char *format, const char *text)
{
    char literal[KEY_MAX];
    size_t length = strcspn(format, "%"), rest = strlen(text);
    if (format[length] == '\0') /* the last one */
        return length <= rest && strcmp(text + rest - length, format) == 0 ? text + rest - length : NULL;
    if (length == 0 || length >= sizeof literal)
        return NULL;
    memcpy(literal, format, length);
    literal[length] = '\0';
    return strstr(text, literal);
}

bool words_parts(const char *format, const char *text, struct words_part parts[static WORDS_PARTS_MAX],
                 size_t *count)
{
    for (*count = 0; pass_literal(&format, &text); (*count)++) {
        if (*format == '\0')
            return *text == '\0';
        format = conversion_end(format);
        const char *end = part_end(format, text);
        if (end == NULL || *count == WORDS_PARTS_MAX)
            return false;
        parts[*count] = (struct words_part){text, (size_t)(end - text)};
        text = end;
    }
    return false;
}

/* Reads the place of a part: its number from 0. Returns the rest of the pattern. */
static const char *read_place(const char *place, size_t *part)
{
    if (place[1] >= '1' && place[1] <= '9') {
        *part = (size_t)(place[1] - '1');
        return place + 2;
    }
    ++*part;
    return conversion_end(place);
}

void words_fill(struct buffer *text, const char *pattern, const struct words_part *parts, size_t count)
{
    size_t part = (size_t)-1;
    for (;;) {
        size_t length = strcspn(pattern, "%");
        buffer_add(text, pattern, length);
        pattern += length;
        if (*pattern == '\0')
            return;
        if (pattern[1] == '%') {
            buffer_add_char(text, '%');
            pattern += 2;
            continue;
        }
        pattern = read_place(pattern, &part);
        if (part < count)
            buffer_add(text, parts[part].text, parts[part].length);
    }
}

bool words_say_with(struct buffer *text, const char *english, const char *const *parts)
{
    struct words_part known[WORDS_PARTS_MAX];
    size_t count = 0;
    for (const char *at = strchr(english, '%'); at != NULL; at = strchr(at + 1, '%'))
        if (at[1] >= '1' && at[1] <= '9' && (size_t)(at[1] - '0') > count)
            count = (size_t)(at[1] - '0');
    for (size_t i = 0; i < count; i++)
        known[i] = (struct words_part){parts[i], strlen(parts[i])};
    const char *pattern = words_find(text->words, NULL, english);
    words_fill(text, pattern != NULL ? pattern : english, known, count);
    return pattern != NULL;
}
