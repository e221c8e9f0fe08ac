/* SPDX-License-Identifier: ISC */
/* Runs statements and hands their rows to readers. */
#include "store/pg_ask.h"

#include "base/log.h"
#include "store/pg_inside.h"

#include <assert.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const PGresult *result_of(const struct pg_rows *rows)
{
    return (const PGresult *)rows;
}

struct pg_answer pg_one(struct arena *arena, pg_take take, void *into)
{
    return (struct pg_answer){.arena = arena, .take = take, .into = into, .least = 1, .most = 1};
}

struct pg_answer pg_maybe(struct arena *arena, pg_take take, void *into, bool *found)
{
    return (struct pg_answer){.arena = arena, .take = take, .into = into, .most = 1, .found = found};
}

struct pg_answer pg_first(struct arena *arena, pg_take take, void *into, size_t *count)
{
    struct pg_answer answer = pg_each(arena, take, into);
    answer.only_first = true;
    answer.count = count;
    return answer;
}

struct pg_answer pg_each(struct arena *arena, pg_take take, void *into)
{
    return (struct pg_answer){.arena = arena, .take = take, .into = into, .most = INT_MAX};
}

struct pg_answer pg_fill(pg_take take, void *into, size_t size, size_t count)
{
    return (struct pg_answer){
        .take = take, .into = into, .size = size, .least = (int)count, .most = (int)count};
}

struct pg_answer pg_list(struct pg_answer each, size_t size, void *list, size_t *count)
{
    each.shared = each.into;
    each.into = NULL;
    each.size = size;
    each.list = list;
    each.count = count;
    return each;
}

struct pg_answer pg_touched(int64_t *count)
{
    return (struct pg_answer){.touched = count, .most = INT_MAX};
}

struct pg_answer pg_touches_one(void)
{
    return (struct pg_answer){.touches_one = true, .most = INT_MAX};
}

static enum store_result refuse(const struct sql *sql, const char *what, int number)
{
    char text[12];
    snprintf(text, sizeof text, "%d", number);
    log_write(LOG_ERROR, "an answer of the database could not be read", "statement", sql->name, what, text,
              NULL);
    return STORE_FAILED;
}

static int64_t touched_by(const struct pg_rows *rows)
{
    /* libpq's signature lacks the const. */
    return strtoll(PQcmdTuples((PGresult *)(uintptr_t)rows), NULL, 10);
}

/* Makes room for a list. */
static bool prepare_list(struct pg_answer *answer, int count)
{
    if (answer->list == NULL)
        return true;
    answer->into = arena_array(answer->arena, (size_t)count + 1, answer->size);
    memcpy(answer->list, &answer->into, sizeof answer->into);
    return answer->into != NULL;
}

static enum store_result take_row(const struct sql *sql, const struct pg_rows *rows, int index,
                                  const struct pg_answer *answer)
{
    struct pg_row row = {.rows = rows, .arena = answer->arena, .shared = answer->shared, .index = index};
    void *into = answer->size > 0 ? (char *)answer->into + (size_t)index * answer->size : answer->into;
    answer->take(&row, into);
    if (row_end(&row))
        return STORE_OK;
    return row.no_memory ? STORE_FAILED : refuse(sql, "column", row.column + 1);
}

enum store_result pg_read(const struct sql *sql, const struct pg_rows *rows, struct pg_answer answer)
{
    int count = PQntuples(result_of(rows));
    enum store_result result = STORE_OK;
    if (answer.touched != NULL)
        *answer.touched = touched_by(rows);
    if (answer.touches_one && touched_by(rows) != 1)
        return STORE_FAILED;
    if (count < answer.least || count > answer.most)
        return refuse(sql, "rows", count);
    if (!prepare_list(&answer, count))
        return STORE_FAILED;
    if (answer.found != NULL)
        *answer.found = count > 0;
    if (answer.count != NULL)
        *answer.count = (size_t)count;
    for (int i = 0; answer.take != NULL && i < count && result == STORE_OK; i++)
        if (i == 0 || !answer.only_first)
            result = take_row(sql, rows, i, &answer);
    return result;
}

enum store_result pg_ask(struct pg *pg, const struct sql *sql, struct pg_args args, struct pg_answer answer)
{
    PG_ROWS rows = NULL;
    assert(!pg->in_pipeline);
    if (answer.found != NULL)
        *answer.found = false;
    if (answer.count != NULL)
        *answer.count = 0;
    enum store_result result = pg_query(pg, sql, args, &rows);
    return result == STORE_OK ? pg_read(sql, rows, answer) : result;
}

void take_int(struct pg_row *row, void *into)
{
    *(int64_t *)into = row_int(row);
}

void take_int32(struct pg_row *row, void *into)
{
    *(int32_t *)into = row_int32(row);
}

void take_bool(struct pg_row *row, void *into)
{
    *(bool *)into = row_bool(row);
}

void take_copy(struct pg_row *row, void *into)
{
    char *copy = row_copy_or_empty(row);
    memcpy(into, &copy, sizeof copy);
}

void take_text(struct pg_row *row, void *into)
{
    row_append(row, into);
}
