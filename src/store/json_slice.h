/* SPDX-License-Identifier: ISC */
/* Slices of rows that the database has already made into JSON: column 0 is the object, column 1 the key by
 * which slices are ordered. A query is asked for one row more than the limit, which tells whether any are
 * left. */
#ifndef DEPOSITD_STORE_JSON_SLICE_H
#define DEPOSITD_STORE_JSON_SLICE_H

#include "base/buffer.h"
#include "store/pg.h"

enum { SLICE_KEY_SIZE = 64 };

struct json_slice {
    size_t count;
    bool more;                                        /* the query had more rows than the limit */
    char first[SLICE_KEY_SIZE], last[SLICE_KEY_SIZE]; /* keys of the first and the last row that it gave */
};

/* A list that can be read from either end. */
struct sql_ways {
    const struct sql *oldest, *newest;
};
#define SQL_WAYS(name) (&(const struct sql_ways){&name, &name##_newest})

/* How a slice of such a list is read, and how it is shown. */
struct slice_way {
    bool either; /* the list can be read from either end; otherwise the others are false */
    bool newest; /* the rows come from the newest on */
    bool turned; /* they are shown the other way round: a slice that ends before a row is read from there */
};

struct slice_asked {
    struct slice_way way;
    int limit;
};

/* How many rows the query may give; `limit` 0: any number. */
struct pg_arg arg_limit(int limit);

/* Texts before and after each row, in place of commas between them. */
struct row_dress {
    const char *begin, *end;
};

struct rows_asked {
    int limit;                     /* 0: none */
    const struct row_dress *dress; /* NULL: commas between the rows */
};

/* Runs a query and appends its rows to `json` in their dress. */
MUST_CHECK enum store_result json_slice_read_dressed(struct pg *pg, const struct sql *sql,
                                                     struct pg_args args, const struct rows_asked *asked,
                                                     struct buffer *json, struct json_slice *slice);
/* Runs a query and appends its rows to `json` with commas between them. */
MUST_CHECK enum store_result json_slice_read(struct pg *pg, const struct sql *sql, struct pg_args args,
                                             int limit, struct buffer *json, struct json_slice *slice);
/* The same for a slice of a list that can be read from either end. */
MUST_CHECK enum store_result json_slice_read_way(struct pg *pg, const struct sql_ways *ways,
                                                 const struct slice_asked *asked, struct pg_args args,
                                                 struct buffer *json, struct json_slice *slice);

#endif
