/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/change_store.h"

#include "sql.h"
#include "store/pg_ask.h"

const char *const change_words[] = {
    "cup_type", "participant",      "scheme",    "terms",           "site",  "refund_value",   "key",
    "proposal", "tax_registration", "site_kind", "office_accounts", "month", "remaking_batch", "agreement",
    NULL};

enum store_result read_changes(struct pg *pg, const struct changes_filter *filter, struct list_slice *slice)
{
    return read_list_way(pg, SQL_WAYS(sql_changes_list),
                         PG_ARGS(arg_id(filter->scheme), arg_int(slice->after), arg_limit(slice->limit),
                                 arg_text(filter->of), arg_text(filter->by), arg_date_at(filter->from),
                                 arg_date_at(filter->to)),
                         slice);
}

struct changes_made {
    struct buffer *json;
    int64_t more;
};

static void take_changes_made(struct pg_row *row, void *into)
{
    struct changes_made *made = into;
    row_append(row, made->json);
    made->more = row_int(row);
}

enum store_result read_changes_made(struct pg *pg, int64_t since, int limit, struct buffer *json,
                                    int64_t *more)
{
    struct changes_made made = {.json = json};
    enum store_result result = pg_ask(pg, &sql_changes_made, PG_ARGS(arg_int(since), arg_int(limit)),
                                      pg_one(NULL, take_changes_made, &made));
    *more = made.more;
    return result;
}
