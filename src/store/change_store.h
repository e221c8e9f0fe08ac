/* SPDX-License-Identifier: ISC */
/* Reading the recorded changes of reference data, terms and keys. The database itself records them, with each
 * statement that changes such a row. */
#ifndef DEPOSITD_STORE_CHANGE_STORE_H
#define DEPOSITD_STORE_CHANGE_STORE_H

#include "store/read_store.h"

/* The words for the kinds of data that may change, as stored and shown; NULL-ended. */
extern const char *const change_words[];

struct changes_filter {
    int32_t scheme;               /* 0: any */
    const char *of;               /* one of the words; NULL: any */
    const char *by;               /* a key's name, or a holder; NULL: anybody */
    const struct date *from, *to; /* days in UTC; NULL: any */
};
MUST_CHECK enum store_result read_changes(struct pg *pg, const struct changes_filter *filter,
                                          struct list_slice *slice);

/* Appends the changes of this transaction after number `since` to `json`, member by member, as a list of at
 * most `limit`. `more`: how many members are left out. */
MUST_CHECK enum store_result read_changes_made(struct pg *pg, int64_t since, int limit, struct buffer *json,
                                               int64_t *more);

#endif
