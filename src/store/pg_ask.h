/* SPDX-License-Identifier: ISC */
/* Running a statement, and handing its rows to a reader. pg_row.h says how a row is read. */
#ifndef DEPOSITD_STORE_PG_ASK_H
#define DEPOSITD_STORE_PG_ASK_H

#include "store/pg.h"
#include "store/pg_row.h"

typedef void (*pg_take)(struct pg_row *row, void *into);

/* The use of a statement's rows. Made by the functions below. */
struct pg_answer {
    pg_take take;
    void *into;
    size_t size; /* how far `into` moves with each row */
    struct arena *arena;
    void *shared;
    int least, most; /* bounds of the number of rows; outside of them STORE_FAILED */
    bool only_first;
    void *list;       /* a pointer, which gets an array of all rows */
    size_t *count;    /* gets the number of rows */
    bool *found;      /* gets whether there is any */
    int64_t *touched; /* gets the number of rows that INSERT, UPDATE or DELETE without RETURNING touched */
    bool touches_one; /* it must be 1 */
};

/* `arena` may be NULL if `take` needs none; `found` and `count` may be NULL if nobody wants to know. */
struct pg_answer pg_one(struct arena *arena, pg_take take, void *into);
struct pg_answer pg_maybe(struct arena *arena, pg_take take, void *into, bool *found);
struct pg_answer pg_first(struct arena *arena, pg_take take, void *into, size_t *count);
/* Reads each row into the same place. */
struct pg_answer pg_each(struct arena *arena, pg_take take, void *into);
/* Reads each row into an element of an array. There must be as many rows as elements. */
struct pg_answer pg_fill(pg_take take, void *into, size_t size, size_t count);
/* Reads each row into an element of a new array: PG_LIST(arena, take_site, NULL, &sites, &count). */
struct pg_answer pg_list(struct pg_answer each, size_t size, void *list, size_t *count);
#define PG_LIST(arena, take, shared, list, count)                                                            \
    pg_list(pg_each(arena, take, shared), sizeof **(list), list, count)
struct pg_answer pg_touched(int64_t *count);
struct pg_answer pg_touches_one(void);

/* Runs a statement and reads its rows. Not in a pipeline. */
MUST_CHECK enum store_result pg_ask(struct pg *pg, const struct sql *sql, struct pg_args args,
                                    struct pg_answer answer);
/* The second half alone, for rows that a pipeline brought. */
MUST_CHECK enum store_result pg_read(const struct sql *sql, const struct pg_rows *rows,
                                     struct pg_answer answer);

/* Readers of a single column: into an int64_t, an int32_t, a bool, a pointer to a copy, a struct buffer. */
void take_int(struct pg_row *row, void *into);
void take_int32(struct pg_row *row, void *into);
void take_bool(struct pg_row *row, void *into);
void take_copy(struct pg_row *row, void *into);
void take_text(struct pg_row *row, void *into);

#endif
