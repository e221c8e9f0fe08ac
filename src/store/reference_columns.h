/* SPDX-License-Identifier: ISC */
/* Rows of reference data as columns for the arrays of a statement, in memory of an arena. Where memory runs
 * out, a column is NULL, and the statement is not run. Private to the store. */
#ifndef DEPOSITD_STORE_REFERENCE_COLUMNS_H
#define DEPOSITD_STORE_REFERENCE_COLUMNS_H

#include "store/reference_store.h"

/* The rows one after the other, so that their members can be taken as columns. */
MUST_CHECK void *column_rows(struct arena *arena, struct reference_items list, size_t row_size);

/* The words that a column of indices stands for; NULL where `present`, if there is one, is false. `stride` is
 * the size of a row. */
MUST_CHECK const char *const *column_words(struct arena *arena, const char *const *words, const int *index,
                                           const bool *present, size_t count, size_t stride);
#define WORDS(arena, words, rows, count, member)                                                             \
    column_words(arena, words, (rows) != NULL ? &(rows)->member : NULL, NULL, (rows) != NULL ? (count) : 0,  \
                 sizeof *(rows))
/* Of a member that may be absent. */
#define WORDS_IF(arena, words, rows, count, member)                                                          \
    column_words(arena, words, (rows) != NULL ? &(rows)->member : NULL,                                      \
                 (rows) != NULL ? &(rows)->has_##member : NULL, (rows) != NULL ? (count) : 0,                \
                 sizeof *(rows))

#endif
