/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/change_store.h"

#include "sql.h"

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
