/* SPDX-License-Identifier: ISC */
/* Reading the ledger for the interface. */
#include "store/read_store.h"

#include "sql.h"
#include "store/pg_ask.h"

#include <assert.h>
#include <stdlib.h>

/* The most entries that a slice of events looks at: some tens of milliseconds if it wants none of them. A
 * search for a reference looks into each event. */
enum { EVENTS_SCAN_MAX = 50000, REFERENCE_SCAN_MAX = 20000, CELLS_MAX = 32, ARGUMENTS_MAX = 16 };

struct pg_arg arg_sites(const struct visible_sites *visible)
{
    return visible->all ? arg_null() : arg_int4s(ARRAY(visible->ids, visible->count));
}

/* If no item came, the place beside the one that the slice was read from stands for the first. So a slice
 * that is read back from there begins with that one. */
static int64_t place_beside(const struct list_slice *slice)
{
    if (slice->after == SLICE_START || slice->after == SLICE_END)
        return slice->after;
    return slice->way.newest ? slice->after - 1 : slice->after + 1;
}

enum store_result read_list_way(struct pg *pg, const struct sql_ways *ways, struct pg_args args,
                                struct list_slice *slice)
{
    struct json_slice json;
    enum store_result result = json_slice_read_way(
        pg, ways, &(const struct slice_asked){slice->way, slice->limit}, args, slice->items, &json);
    if (result != STORE_OK)
        return result;
    slice->more = json.more;
    slice->first = json.count > 0 ? strtoll(json.first, NULL, 10) : place_beside(slice);
    slice->last = json.count > 0 ? strtoll(json.last, NULL, 10) : slice->after;
    return STORE_OK;
}

enum store_result read_list_slice(struct pg *pg, const struct sql *sql, struct pg_args args,
                                  struct list_slice *slice)
{
    return read_list_way(pg, &(const struct sql_ways){sql, sql}, args, slice);
}

/* The entries that a list of events has to look at. */
struct events_range {
    int64_t after, through;
};

static void take_range(struct pg_row *row, void *into)
{
    struct events_range *range = into;
    range->after = row_int(row);
    range->through = row_int(row);
}

/* 0: the reader sees any other number of sites. */
static int32_t only_site(const struct visible_sites *visible)
{
    return !visible->all && visible->count == 1 ? visible->ids[0] : 0;
}

/* How many entries one slice may look at. An index leads straight to the entries that most filters ask for.
 * The others have to look at entries that they do not show. */
static int64_t scan_max(const struct events_filter *filter)
{
    bool late = filter->late != NULL && *filter->late;
    bool has_index = (filter->kind == KIND_NONE || (filter->kind > KIND_EXCHANGE && !late)) &&
                     (filter->visible.all || filter->site != 0) && filter->from == NULL && filter->to == NULL;
    return filter->reference != NULL ? REFERENCE_SCAN_MAX : has_index ? INT64_MAX : EVENTS_SCAN_MAX;
}

/* The part of the range that one slice looks at, from the end where it begins. */
static struct events_range part_of(const struct events_range *range, bool newest, int64_t most)
{
    struct events_range part = *range;
    if (range->through - range->after <= most)
        return part;
    if (newest)
        part.after = range->through - most;
    else
        part.through = range->after + most;
    return part;
}

/* If all of the part was looked at, the next slice goes on where the part ends. */
static void go_on_after(const struct events_range *part, const struct events_range *range,
                        struct list_slice *slice)
{
    if (slice->more)
        return;
    slice->more = part->after > range->after || part->through < range->through;
    if (slice->way.newest)
        slice->last = part->after + 1;
    else
        slice->last = part->through > part->after ? part->through : part->after;
}

enum store_result read_events(struct pg *pg, const struct events_filter *filter, struct list_slice *slice)
{
    struct events_range range;
    const struct sql *find = slice->way.newest ? &sql_events_range_newest : &sql_events_range;
    enum store_result result = pg_ask(pg, find,
                                      PG_ARGS(arg_int(filter->scheme), arg_int(slice->after),
                                              arg_date_at(filter->from), arg_date_at(filter->to)),
                                      pg_one(NULL, take_range, &range));
    if (result != STORE_OK)
        return result;
    struct events_range part = part_of(&range, slice->way.newest, scan_max(filter));
    result = read_list_way(pg, SQL_WAYS(sql_events_list),
                           PG_ARGS(arg_int(filter->scheme), arg_int(part.after), arg_int(part.through),
                                   arg_limit(slice->limit), arg_sites(&filter->visible),
                                   arg_id(filter->site != 0 ? filter->site : only_site(&filter->visible)),
                                   arg_id(filter->kind), arg_date_at(filter->from), arg_date_at(filter->to),
                                   arg_text(filter->reference), arg_bool_at(filter->late),
                                   arg_bool(filter->kind > KIND_EXCHANGE)),
                           slice);
    if (result == STORE_OK)
        go_on_after(&part, &range, slice);
    return result;
}

static void take_local_time(struct pg_row *row, void *into)
{
    struct local_time *time = into;
    time->instant = row_instant(row);
    time->shown = row_copy(row);
}

enum store_result read_local_time(struct pg *pg, struct arena *arena, int32_t scheme, const char *local,
                                  struct instant now, struct local_time *time)
{
    return pg_ask(pg, &sql_local_time, PG_ARGS(arg_id(scheme), arg_text(local), arg_instant(now)),
                  pg_one(arena, take_local_time, time));
}

enum store_result read_local_times(struct pg *pg, int32_t scheme, const char *const *texts, size_t count,
                                   struct buffer *json)
{
    size_t found;
    return pg_ask(pg, &sql_local_times, PG_ARGS(arg_id(scheme), arg_texts(texts, count, sizeof *texts)),
                  pg_first(NULL, take_text, json, &found));
}

enum store_result read_event(struct pg *pg, const struct uuid *id, int32_t scheme,
                             const struct visible_sites *visible, struct buffer *json, size_t *found)
{
    return pg_ask(pg, &sql_event_get, PG_ARGS(arg_uuid(id), arg_id(scheme), arg_sites(visible), arg_null()),
                  pg_first(NULL, take_text, json, found));
}

enum store_result read_entry(struct pg *pg, int64_t entry, int32_t scheme,
                             const struct visible_sites *visible, struct buffer *json, bool *found)
{
    size_t count;
    enum store_result result =
        pg_ask(pg, &sql_event_get, PG_ARGS(arg_null(), arg_id(scheme), arg_sites(visible), arg_int(entry)),
               pg_first(NULL, take_text, json, &count));
    *found = count > 0;
    return result;
}

enum store_result read_days(struct pg *pg, int32_t scheme, const char *missing, struct list_slice *slice)
{
    return read_list_way(
        pg, SQL_WAYS(sql_days_list),
        PG_ARGS(arg_int(scheme), arg_int(slice->after), arg_limit(slice->limit), arg_text(missing)), slice);
}

static void take_days(struct pg_row *row, void *into)
{
    struct date *first = row->shared;
    *(struct date *)into = row_date(row);
    *first = row_date(row);
}

enum store_result read_day_current(struct pg *pg, int32_t scheme, struct date *day, struct date *first)
{
    struct pg_answer answer = pg_one(NULL, take_days, day);
    answer.shared = first;
    return pg_ask(pg, &sql_days_current, PG_ARGS(arg_int(scheme)), answer);
}

enum store_result read_settlements(struct pg *pg, int32_t scheme, const struct visible_sites *visible,
                                   struct list_slice *slice)
{
    return read_list_way(
        pg, SQL_WAYS(sql_settlements_list),
        PG_ARGS(arg_int(scheme), arg_int(slice->after), arg_limit(slice->limit), arg_sites(visible)), slice);
}

enum store_result read_settlement(struct pg *pg, int32_t scheme, struct date day,
                                  const struct visible_sites *visible, struct buffer *json, bool *found)
{
    return pg_ask(pg, &sql_settlement_get, PG_ARGS(arg_int(scheme), arg_date(day), arg_sites(visible)),
                  pg_maybe(NULL, take_text, json, found));
}

enum store_result read_fee_notes(struct pg *pg, int32_t scheme, int32_t participant,
                                 const struct visible_sites *visible, struct list_slice *slice)
{
    return read_list_way(pg, SQL_WAYS(sql_fee_notes_list),
                         PG_ARGS(arg_int(scheme), arg_int(slice->after), arg_limit(slice->limit),
                                 arg_sites(visible), arg_id(participant)),
                         slice);
}

enum store_result read_fee_note(struct pg *pg, int32_t scheme, int64_t number,
                                const struct visible_sites *visible, struct buffer *json, bool *found)
{
    return pg_ask(pg, &sql_fee_note_get, PG_ARGS(arg_int(scheme), arg_int(number), arg_sites(visible)),
                  pg_maybe(NULL, take_text, json, found));
}

enum store_result read_payment_list(struct pg *pg, const struct payments_filter *filter,
                                    const struct key_slice *wanted, struct buffer *json,
                                    struct json_slice *slice)
{
    return json_slice_read_way(
        pg, SQL_WAYS(sql_payments_list), &wanted->asked,
        PG_ARGS(arg_int(filter->scheme), arg_text(wanted->after), arg_limit(wanted->asked.limit),
                arg_text(filter->status), arg_bool_at(filter->held), arg_id(filter->participant),
                arg_date_at(filter->from), arg_date_at(filter->to), arg_bool_at(filter->waiting),
                arg_text(filter->side), arg_bool_at(filter->to_pools)),
        json, slice);
}

enum store_result read_payment(struct pg *pg, const char *payment_id, const struct visible_sites *visible,
                               struct buffer *json, bool *found)
{
    return pg_ask(pg, &sql_payment_get, PG_ARGS(arg_text(payment_id), arg_sites(visible)),
                  pg_maybe(NULL, take_text, json, found));
}

enum store_result read_proposed_list(struct pg *pg, int32_t scheme, enum proposed_family family,
                                     const struct proposed_filter *filter, struct list_slice *slice)
{
    return read_list_way(pg, SQL_WAYS(sql_proposed_list),
                         PG_ARGS(arg_int(scheme), arg_int(slice->after), arg_limit(slice->limit),
                                 arg_text(filter->status), arg_bool(family == PROPOSED_JOURNALS),
                                 arg_bool_at(filter->mine), arg_int(filter->key)),
                         slice);
}

enum store_result read_proposed(struct pg *pg, const struct proposed_name *name, struct buffer *json,
                                bool *found)
{
    return pg_ask(
        pg, &sql_proposed_get,
        PG_ARGS(arg_int(name->scheme), arg_uuid(&name->id), arg_bool(name->family == PROPOSED_JOURNALS)),
        pg_maybe(NULL, take_text, json, found));
}

enum store_result read_glance(struct pg *pg, const int32_t *schemes, size_t count,
                              const struct glance_reader *reader, struct buffer *json)
{
    struct json_slice slice;
    return json_slice_read(pg, &sql_glance,
                           PG_ARGS(arg_int4s(ARRAY(schemes, count)), arg_bool(reader->for_operator),
                                   arg_int(reader->participant), arg_bool(reader->by_day)),
                           0, json, &slice);
}

static void take_task(struct pg_row *row, void *into)
{
    struct task_row *task = into;
    task->task = row_copy(row);
    task->scheme = row_copy_or_null(row);
    task->how_many = row_int(row);
    task->first_day = row_copy_or_null(row);
    task->since = row_copy_or_null(row);
    task->count_before = row_copy_or_null(row);
    task->json = row_copy(row);
}

enum store_result read_tasks(struct pg *pg, struct arena *arena, const struct tasks_asked *asked,
                             struct task_row **rows, size_t *count)
{
    return pg_ask(pg, &sql_tasks,
                  PG_ARGS(arg_int4s(ARRAY(asked->schemes, asked->scheme_count)), arg_int(asked->participant),
                          arg_int(asked->key), arg_texts(ARRAY(asked->tasks, asked->task_count)),
                          arg_bool(asked->add_up), arg_limit(asked->limit), arg_int(asked->count_days)),
                  PG_LIST(arena, take_task, NULL, rows, count));
}

enum store_result read_accounts(struct pg *pg, int32_t scheme, enum account_kind kind,
                                const struct date *as_of, struct list_slice *slice)
{
    return read_list_slice(pg, &sql_accounts_list,
                           PG_ARGS(arg_int(scheme), arg_int(slice->after), arg_limit(slice->limit),
                                   arg_date_at(as_of), arg_id(kind)),
                           slice);
}

/* --- reports -------------------------------------------------------------------------------------------- */

static struct pg_arg argument_of(const struct report_argument *argument)
{
    switch (argument->kind) {
    case ARGUMENT_NULL:
        return arg_null();
    case ARGUMENT_DAY:
        return arg_date(argument->day);
    case ARGUMENT_NUMBER:
        return arg_int(argument->number);
    }
    abort();
}

struct report_reader {
    size_t column_count;
    report_row each;
    void *context;
};

static bool pass_row(void *context, struct pg_row *row)
{
    const struct report_reader *reader = context;
    const char *cells[CELLS_MAX];
    for (size_t i = 0; row != NULL && i < reader->column_count; i++)
        cells[i] = row_text_or_null(row);
    return reader->each(reader->context, row != NULL ? cells : NULL);
}

enum store_result read_report(struct pg *pg, const struct report_query *query, report_row each, void *context)
{
    struct pg_arg items[ARGUMENTS_MAX];
    struct pg_args args = {items, 0};
    struct report_reader reader = {query->column_count, each, context};
    assert(query->column_count <= CELLS_MAX && query->argument_count + 3 <= ARGUMENTS_MAX);
    items[args.count++] = arg_int(query->scheme);
    for (size_t i = 0; i < query->argument_count; i++)
        items[args.count++] = argument_of(&query->arguments[i]);
    if (query->visible != NULL)
        items[args.count++] = arg_sites(query->visible);
    if (query->by_entry)
        items[args.count++] = arg_id(query->after_entry);
    return pg_stream(pg, query->sql, args, pass_row, &reader);
}

static void take_check(struct pg_row *row, void *into)
{
    struct check_figures *figures = into;
    figures->examined = row_int(row);
    figures->broken = row_int(row);
    *(char **)row->shared = row_copy_or_empty(row);
}

enum store_result read_check(struct pg *pg, struct arena *arena, const struct sql *sql, int32_t scheme,
                             struct check_figures *figures, char **findings)
{
    struct pg_answer answer = pg_one(arena, take_check, figures);
    answer.shared = findings;
    *figures = (struct check_figures){0};
    return pg_ask(pg, sql, PG_ARGS(arg_int(scheme)), answer);
}

enum store_result read_check_of_days(struct pg *pg, struct arena *arena, const struct sql *sql,
                                     const struct check_days *days, struct check_figures *figures,
                                     char **findings)
{
    struct pg_answer answer = pg_one(arena, take_check, figures);
    answer.shared = findings;
    *figures = (struct check_figures){0};
    return pg_ask(pg, sql, PG_ARGS(arg_int(days->scheme), arg_date(days->first), arg_date(days->last)), answer);
}

enum store_result store_check_run_put(struct pg *pg, const struct check_verdict *verdicts, size_t count)
{
    enum store_result result = pg_begin(pg);
    if (result == STORE_OK)
        result = pg_run(
            pg, &sql_check_run_put,
            PG_ARGS(arg_int4s(COLUMN(verdicts, count, scheme)), arg_int4s(COLUMN(verdicts, count, broken))));
    if (result == STORE_OK)
        result = pg_commit(pg);
    if (result != STORE_OK)
        pg_rollback(pg);
    return result;
}
