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
    bool more;                 /* the query had more rows than the limit */
    char last[SLICE_KEY_SIZE]; /* key of the last row added */
};

/* How many rows the query may give; `limit` 0: any number. */
struct pg_arg arg_limit(int limit);

/* Runs a query and appends its rows to `json` with commas between them. */
MUST_CHECK enum store_result json_slice_read(struct pg *pg, const struct sql *sql, struct pg_args args,
                                             int limit, struct buffer *json, struct json_slice *slice);

#endif
