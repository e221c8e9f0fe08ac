/* SPDX-License-Identifier: ISC */
/* One function per statement. */
#include "store/change_store.h"

#include "sql.h"

const char *const change_words[] = {"cup_type",     "participant", "scheme",   "terms", "site",
                                    "refund_value", "key",         "proposal", NULL};

static void add_date_or_null(struct pg_params *params, const struct date *date)
{
    if (date != NULL)
        pg_add_date(params, *date);
    else
        pg_add_null(params);
}

enum store_result read_changes(struct pg *pg, const struct changes_filter *filter, struct list_slice *slice)
{
    struct pg_params params;
    pg_params_init(&params, NULL);
    if (filter->scheme != 0)
        pg_add_int(&params, filter->scheme);
    else
        pg_add_null(&params);
    pg_add_int(&params, slice->after);
    json_slice_limit(&params, slice->limit);
    pg_add_text(&params, filter->of);
    pg_add_text(&params, filter->by);
    add_date_or_null(&params, filter->from);
    add_date_or_null(&params, filter->to);
    return read_list_slice(pg, &sql_changes_list, &params, slice);
}
