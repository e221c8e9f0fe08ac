/* SPDX-License-Identifier: ISC */
/* One function per statement: its parameters in their order, and its row. */
#include "store/reference_store.h"

#include "sql.h"
#include "store/pg_ask.h"

const char *const netting_words[] = {[NETTING_CENTRAL] = "central", [NETTING_DIRECT] = "direct", NULL};
const char *const bearing_words[] = {"absorb", "charge", NULL};
const char *const stock_terms_words[] = {[ON_LOAN] = "on_loan", [ON_DEPOSIT] = "on_deposit", NULL};
#define X(name, word) #word,
const char *const loss_bearer_words[] = {BEARER_TABLE(X) NULL};
#undef X
const char *const site_kind_words[] = {
    [SITE_CAFE] = "cafe",
    [SITE_RETURN_POINT] = "return_point",
    [SITE_HUB] = "hub",
    [SITE_KINDS] = NULL,
};

enum store_result store_reference_begin(struct pg *pg, const struct change_author *author, struct instant now,
                                        int64_t *version)
{
    enum store_result result =
        pg_ask(pg, &sql_reference_lock_network, PG_NO_ARGS, pg_one(NULL, take_int, version));
    if (result == STORE_OK)
        result = pg_run(pg, &sql_reference_begin_changes,
                        PG_ARGS(arg_int(author->key), arg_instant(now), arg_text(author->why),
                                arg_int(author->proposal)));
    return result == STORE_OK ? pg_run(pg, &sql_reference_lock_unused, PG_NO_ARGS) : result;
}

enum store_result store_reference_hold(struct pg *pg, int64_t version)
{
    enum store_result result = pg_run(pg, &sql_reference_lock_heads, PG_NO_ARGS);
    return result == STORE_OK ? pg_run(pg, &sql_reference_mark_heads, PG_ARGS(arg_int(version))) : result;
}

enum store_result store_reference_check_dates(struct pg *pg)
{
    return pg_run(pg, &sql_reference_check_dates, PG_NO_ARGS);
}

enum store_result store_reference_lock(struct pg *pg, const struct change_author *author, struct instant now,
                                       int64_t *version)
{
    enum store_result result = store_reference_begin(pg, author, now, version);
    return result == STORE_OK ? store_reference_hold(pg, *version) : result;
}

enum store_result store_reference_unused(struct pg *pg, struct arena *arena, int32_t **schemes, size_t *count)
{
    return pg_ask(pg, &sql_reference_lock_unused, PG_NO_ARGS,
                  PG_LIST(arena, take_int32, NULL, schemes, count));
}

/* The parameters that a statement takes: first the slice, then the reader, then filters. */
enum { OF_SLICE = 3, OF_READER = 5, BY_SCHEME = 6, BY_PARTICIPANT = 7 };

/* The statement that reads each kind of data, and how many of the parameters it takes. */
static const struct {
    const struct sql *sql;
    size_t parameters;
} reads[] = {
    [REFERENCE_CUP_TYPE] = {&sql_reference_read_cup_type, OF_SLICE},
    [REFERENCE_PARTICIPANT] = {&sql_reference_read_participant, BY_SCHEME},
    [REFERENCE_SCHEME] = {&sql_reference_read_scheme, OF_READER},
    [REFERENCE_TERMS] = {&sql_reference_read_terms, OF_READER},
    [REFERENCE_REFUND_VALUE] = {&sql_reference_read_refund_value, OF_READER},
    [REFERENCE_SITE] = {&sql_reference_read_site, BY_PARTICIPANT},
    [REFERENCE_OFFICE_ACCOUNTS] = {&sql_reference_read_office_accounts, OF_READER},
    [REFERENCE_TAX_REGISTRATION] = {&sql_reference_read_tax_registration, OF_READER},
    [REFERENCE_SITE_KIND] = {&sql_reference_read_site_kind, OF_READER},
    [REFERENCE_AGREEMENT] = {&sql_reference_read_agreement, OF_READER},
};

enum store_result store_reference_read(struct pg *pg, const struct reference_query *query,
                                       struct buffer *json, struct json_slice *slice)
{
    const struct identity *reader = query->reader;
    enum role_reach reach = role_reach(reader->role);
    struct pg_args args = PG_ARGS(
        arg_texts(ARRAY(query->names, REFERENCE_NAMES_MAX)), arg_text(query->after), arg_limit(query->limit),
        reach == REACH_SITES ? arg_int4s(ARRAY(reader->sites, reader->site_count)) : arg_null(),
        arg_int_if(reach == REACH_PARTICIPANT, reader->participant), arg_id(query->scheme),
        arg_id(query->participant));
    args.count = reads[query->kind].parameters;
    const struct rows_asked asked = {query->limit, query->dress};
    return json_slice_read_dressed(pg, reads[query->kind].sql, args, &asked, json, slice);
}
