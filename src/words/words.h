/* SPDX-License-Identifier: ISC */
/* The words that people read, in their languages. English words stand where they are used, and are the keys.
 * Each other language has a file here, in the PO format of GNU gettext, which compile.py turns into a sorted
 * table when the service is built. Only pages use these words: JSON, CSV and all words for machines stay as
 * they are. Constant data; any thread. */
#ifndef DEPOSITD_WORDS_WORDS_H
#define DEPOSITD_WORDS_WORDS_H

#include "base/buffer.h"

#include <stdbool.h>
#include <stddef.h>

struct word {
    const char *key; /* the English, after a context and the byte 4 if it has one */
    const char *text;
};

/* A language. In its place NULL stands for English. */
struct words {
    const char *code; /* of ISO 639, as in HTML's lang */
    const struct word *items;
    size_t count;
};

/* The tables that compile.py makes. */
extern const struct words words_tables[];
extern const size_t words_table_count;

/* The codes of all languages, English first. NULL-ended. */
extern const char *const words_codes[];

/* The language with the code, of any case. NULL: English, or there is none. */
const struct words *words_of(const char *code, size_t length);
/* Whether there is a language with the code. */
bool words_known(const char *code, size_t length);
/* "en", "fr" … */
const char *words_code(const struct words *words);

/* The word in the language. `context` tells apart meanings of an English word, and is NULL if it has only
 * one. A word that has no translation for the context may have one without. NULL: no translation. */
const char *words_find(const struct words *words, const char *context, const char *english);

/* The word in this context, and in no other. NULL: no translation, or English. */
const char *words_within(const struct words *words, const char *context, const char *english);

/* Part of a sentence that stays as it is: a name, a figure. */
struct words_part {
    const char *text;
    size_t length;
};
enum { WORDS_PARTS_MAX = 9 };

/* Finds in a text the parts that printf put into it for the format. False: the text was not made of it, or
 * has more parts. */
bool words_parts(const char *format, const char *text, struct words_part parts[static WORDS_PARTS_MAX],
                 size_t *count);
/* Writes a pattern with the parts in their places: "%1" is the first, "%2" the second, and a conversion of
 * printf's the next after the one before. A part that is not there is left out. */
void words_fill(struct buffer *text, const char *pattern, const struct words_part *parts, size_t count);
/* Writes an English pattern, which has %1, %2 …, with these parts in the language of the buffer. Nothing is
 * escaped. False: it stayed English, because it has no translation. */
bool words_say_with(struct buffer *text, const char *english, const char *const *parts);
#define words_say(text, english, ...) words_say_with((text), (english), (const char *const[]){__VA_ARGS__})

#endif
