/* SPDX-License-Identifier: ISC */
/* People's words beside the machine's: the labels of members, columns and reports, and the states of things.
 * Constant data; any thread. */
#ifndef DEPOSITD_WORDS_LABELS_H
#define DEPOSITD_WORDS_LABELS_H

#include "words/words.h"

enum { WORDS_LABEL_SIZE = 128 };

/* The label of a name: "business_date" is "Business date". Names that say too little have a row of their own.
 * False: the name is too long. */
bool words_label(const char *name, char label[static WORDS_LABEL_SIZE]);
/* The label in the language. A name that has none, but has words as a value, takes these. False: it has
 * neither, or is too long, and the label stays English. */
bool words_label_in(const struct words *words, const char *name, char label[static WORDS_LABEL_SIZE]);
/* The words for a machine's word: "in_transit" is "in transit". False: the text is no word, or too long. */
bool words_plain(const char *word, char plain[static WORDS_LABEL_SIZE]);

/* Whether a member's values are words of the machine. */
bool words_are_values(const char *member);

#endif
