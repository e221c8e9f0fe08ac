/* SPDX-License-Identifier: ISC */
/* Copies rows, and looks words up. */
#include "store/reference_columns.h"

#include <string.h>

void *column_rows(struct arena *arena, struct reference_items list, size_t row_size)
{
    char *rows = arena_array(arena, list.count, row_size);
    for (size_t i = 0; rows != NULL && i < list.count; i++)
        memcpy(rows + i * row_size, list.items[i].row, row_size);
    return rows;
}

const char *const *column_words(struct arena *arena, const char *const *words, const int *index,
                                const bool *present, size_t count, size_t stride)
{
    const char **texts = arena_array(arena, count, sizeof *texts);
    for (size_t i = 0; texts != NULL && i < count; i++)
        if (present == NULL || *(const bool *)((const char *)present + i * stride))
            texts[i] = words[*(const int *)(const void *)((const char *)index + i * stride)];
    return texts;
}
