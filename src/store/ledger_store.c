/* SPDX-License-Identifier: ISC */
/* The statements with which posting reads. */
#include "store/ledger_store.h"

#include "sql.h"
#include "store/exception_store.h"
#include "store/leg_rows.h"
#include "store/pg_ask.h"

static void take_head(struct pg_row *row, void *into)
{
    struct head *head = into;
    head->scheme = row_int32(row);
    head->last_entry = row_int(row);
    head->reference_version = row_int(row);
    head->calendar_version = row_int(row);
    head->gross = row_int(row);
    head->unfolded = row_int32(row);
    head->folded_through = row_int(row);
}

enum store_result store_head_lock(struct pg *pg, int32_t scheme, struct head *head)
{
    return pg_ask(pg, &sql_heads_lock, PG_ARGS(arg_int4s(ARRAY(&scheme, 1))), pg_one(NULL, take_head, head));
}

struct calendar_row {
    int32_t scheme;
    struct business_day day;
};

static void take_calendar_row(struct pg_row *row, void *into)
{
    static const char *const words[DAY_STATES] = {
        [DAY_OPEN] = "open",
        [DAY_CLOSING] = "closing",
        [DAY_CLOSED] = "closed",
    };
    struct calendar_row *of = into;
    of->scheme = row_int32(row);
    of->day.date = row_date(row);
    of->day.starts_at = row_instant(row);
    of->day.ends_at = row_instant(row);
    of->day.state = (enum day_state)row_word(row, words, DAY_STATES);
}

/* Gives the request the rows of its scheme, which come first. *count: how many they are. */
static enum store_result give_calendar(const struct calendar_request *request,
                                       const struct calendar_row *rows, size_t most, size_t *count)
{
    *count = 0;
    while (*count < most && rows[*count].scheme == request->scheme)
        ++*count;
    struct business_day *days = arena_array(request->arena, *count, sizeof *days);
    if (days == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < *count; i++)
        days[i] = rows[i].day;
    *request->calendar = (struct calendar){days, *count};
    return STORE_OK;
}

enum store_result store_calendars(struct pg *pg, struct arena *arena, const struct calendar_request *requests,
                                  size_t count, int closed_days)
{
    struct calendar_row *rows;
    size_t row_count, given;
    enum store_result result =
        pg_ask(pg, &sql_calendars,
               PG_ARGS(arg_int4s(COLUMN(requests, count, scheme)),
                       closed_days == ALL_CLOSED_DAYS ? arg_null() : arg_int(closed_days)),
               PG_LIST(arena, take_calendar_row, NULL, &rows, &row_count));
    for (size_t i = 0; i < count && result == STORE_OK; i++) {
        result = give_calendar(&requests[i], rows, row_count, &given);
        rows += given;
        row_count -= given;
    }
    return result;
}

enum store_result store_calendars_extend(struct pg *pg, const int32_t *schemes, size_t count,
                                         struct instant until, bool *extended)
{
    int64_t touched;
    enum store_result result =
        pg_ask(pg, &sql_calendar_extend,
               PG_ARGS(schemes != NULL ? arg_int4s(ARRAY(schemes, count)) : arg_null(), arg_instant(until)),
               pg_touched(&touched));
    if (result == STORE_OK)
        *extended = touched > 0;
    return result;
}

enum store_result store_calendar_changed(struct pg *pg, int32_t scheme)
{
    return pg_run(pg, &sql_head_calendar, PG_ARGS(arg_int(scheme)));
}

/* --- the begin of a batch ------------------------------------------------------------------------------- */

static void take_known(struct pg_row *row, void *into)
{
    struct known_event *event = into;
    event->scheme = row_int32(row);
    event->id = row_uuid(row);
    if (row_is_null(row)) /* a shipment's id, or a journal without its proposal: equals no event */
        row_skip(row);
    else
        row_bytes(row, event->digest, sizeof event->digest);
    event->entry = row_int(row);
    event->business_date = row_date(row);
    event->late = row_bool(row);
    event->has_exceptions = row_bool(row);
}

static void take_movements(struct pg_row *row, struct recent_batch *batch)
{
    const int64_t *accounts = row_ints(row, &batch->movement_count);
    const int64_t *days = row_ints_of(row, batch->movement_count);
    const int64_t *amounts = row_ints_of(row, batch->movement_count);
    batch->movements = arena_array(row->arena, batch->movement_count + 1, sizeof *batch->movements);
    row_check_memory(row, batch->movements);
    for (size_t i = 0; !row->failed && i < batch->movement_count; i++)
        batch->movements[i] = (struct movement_row){
            .account = {accounts[i]}, .business_date = {(int32_t)days[i]}, .amount = amounts[i]};
}

enum { ACTIVITY_LISTS = 6 };

static void take_site_days(struct pg_row *row, struct recent_batch *batch)
{
    const int64_t *figures[ACTIVITY_LISTS];
    const int64_t *sites = row_ints(row, &batch->site_day_count);
    const int64_t *days = row_ints_of(row, batch->site_day_count);
    for (int i = 0; i < ACTIVITY_LISTS; i++)
        figures[i] = row_ints_of(row, batch->site_day_count);
    batch->site_days = arena_array(row->arena, batch->site_day_count + 1, sizeof *batch->site_days);
    row_check_memory(row, batch->site_days);
    for (size_t i = 0; !row->failed && i < batch->site_day_count; i++)
        batch->site_days[i] = (struct site_day_row){
            .site = (int32_t)sites[i],
            .business_date = {(int32_t)days[i]},
            .activity = {.issued = figures[0][i],
                         .returned = figures[1][i],
                         .collected = figures[2][i],
                         .refunded = figures[3][i],
                         .stock = figures[4][i],
                         .other = figures[5][i]},
        };
}

static void take_recent(struct pg_row *row, void *into)
{
    struct recent_batch *batch = into;
    batch->scheme = row_int32(row);
    batch->after_entry = row_int(row);
    batch->last_entry = row_int(row);
    take_movements(row, batch);
    take_site_days(row, batch);
}

static void take_day_counters(struct pg_row *row, void *into)
{
    struct day_counters *counters = into;
    uint8_t nodes[FRONTIER_NODES_MAX * SHA256_SIZE];
    *counters = (struct day_counters){.scheme = row_int32(row)};
    counters->date = row_date(row);
    counters->entries = row_int(row);
    counters->events = row_int(row);
    counters->late_events = row_int(row);
    counters->first_entry = row_int_or_0(row);
    counters->last_entry = row_int_or_0(row);
    size_t size = row_bytes_at_most(row, nodes, sizeof nodes);
    row_check(row,
              frontier_restore(&counters->frontier, (uint64_t)counters->entries, nodes, size / SHA256_SIZE));
}

/* The answers of a batch's begin. Those about what others have posted are asked for if any of it is known. */
struct batch_answers {
    struct pg_rows *heads, *version, *known, *recent, *days;
};

static enum store_result ask_heads(struct pg *pg, const struct batch_begin *begin, struct pg_rows **heads)
{
    struct pg_args args = PG_ARGS(arg_int4s(COLUMN(begin->requests, begin->count, scheme)));
    if (begin->wait_ms == 0)
        return pg_query(pg, &sql_heads_lock_free, args, heads);
    enum store_result result = pg_set_lock_wait(pg, begin->wait_ms);
    return result == STORE_OK ? pg_query(pg, &sql_heads_lock, args, heads) : result;
}

/* How far the writer knows a scheme's ledger. */
struct known_since {
    int32_t scheme;
    int64_t entry;
};

static enum store_result ask_since(struct pg *pg, struct arena *arena, const struct batch_begin *begin,
                                   struct batch_answers *answers)
{
    size_t count = 0;
    struct known_since *since = arena_array(arena, begin->count, sizeof *since);
    if (since == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < begin->count; i++)
        if (begin->requests[i].has_since)
            since[count++] = (struct known_since){begin->requests[i].scheme, begin->requests[i].since};
    if (count == 0)
        return STORE_OK;
    struct pg_args args =
        PG_ARGS(arg_int4s(COLUMN(since, count, scheme)), arg_int8s(COLUMN(since, count, entry)));
    enum store_result result = pg_query(pg, &sql_recent_since, args, &answers->recent);
    return result == STORE_OK ? pg_query(pg, &sql_day_counters_since, args, &answers->days) : result;
}

static enum store_result ask_batch(struct pg *pg, struct arena *arena, const struct batch_begin *begin,
                                   struct batch_answers *answers)
{
    enum store_result result = pg_begin(pg);
    if (result == STORE_OK)
        result = ask_heads(pg, begin, &answers->heads);
    if (result == STORE_OK)
        result = pg_query(pg, &sql_network_version, PG_NO_ARGS, &answers->version);
    if (result == STORE_OK && begin->wanted != NULL)
        result = pg_query(pg, &sql_events_find,
                          PG_ARGS(arg_int4s(COLUMN(begin->wanted, begin->wanted_count, scheme)),
                                  arg_uuids(COLUMN(begin->wanted, begin->wanted_count, id))),
                          &answers->known);
    if (result == STORE_OK)
        result = ask_since(pg, arena, begin, answers);
    return result == STORE_OK ? pg_pipeline_end(pg) : result;
}

/* The heads that were taken, in the order of the requests. */
static enum store_result read_heads(const struct batch_answers *answers, struct arena *arena,
                                    struct batch_begin *begin)
{
    struct head *heads;
    size_t head_count, taken = 0;
    enum store_result result =
        pg_read(&sql_heads_lock, answers->heads, PG_LIST(arena, take_head, NULL, &heads, &head_count));
    for (size_t i = 0; i < begin->count && result == STORE_OK; i++) {
        struct head_request *request = &begin->requests[i];
        request->taken = taken < head_count && heads[taken].scheme == request->scheme;
        if (request->taken)
            request->head = heads[taken++];
    }
    return result == STORE_OK && taken != head_count ? STORE_FAILED : result;
}

/* Gives each request its rows of two lists that are in the order of the requests. */
static void give_since(struct batch_begin *begin, struct recent_batch *recent, size_t recent_count,
                       struct day_counters *days, size_t day_count)
{
    size_t r = 0, d = 0;
    for (size_t i = 0; i < begin->count; i++) {
        struct head_request *request = &begin->requests[i];
        request->recent = recent + r;
        request->days = days + d;
        for (; r < recent_count && recent[r].scheme == request->scheme; r++)
            request->recent_count++;
        for (; d < day_count && days[d].scheme == request->scheme; d++)
            request->day_count++;
    }
}

static enum store_result read_since(const struct batch_answers *answers, struct arena *arena,
                                    struct batch_begin *begin)
{
    struct recent_batch *recent;
    struct day_counters *days;
    size_t recent_count, day_count;
    if (answers->days == NULL)
        return STORE_OK;
    enum store_result result = pg_read(&sql_recent_since, answers->recent,
                                       PG_LIST(arena, take_recent, NULL, &recent, &recent_count));
    if (result == STORE_OK)
        result = pg_read(&sql_day_counters_since, answers->days,
                         PG_LIST(arena, take_day_counters, NULL, &days, &day_count));
    if (result == STORE_OK)
        give_since(begin, recent, recent_count, days, day_count);
    return result;
}

static enum store_result read_batch(const struct batch_answers *answers, struct arena *arena,
                                    struct batch_begin *begin)
{
    enum store_result result =
        pg_read(&sql_network_version, answers->version, pg_one(NULL, take_int, &begin->version));
    if (result == STORE_OK)
        result = read_heads(answers, arena, begin);
    if (result == STORE_OK && begin->wanted != NULL)
        result = pg_read(&sql_events_find, answers->known,
                         PG_LIST(arena, take_known, NULL, &begin->known, &begin->known_count));
    return result == STORE_OK ? read_since(answers, arena, begin) : result;
}

enum store_result store_batch_begin(struct pg *pg, struct arena *arena, struct batch_begin *begin)
{
    struct batch_answers answers = {0};
    enum store_result result = pg_pipeline_begin(pg);
    if (result == STORE_OK)
        result = ask_batch(pg, arena, begin, &answers);
    if (result == STORE_OK)
        result = read_batch(&answers, arena, begin);
    pg_rows_free(&answers.heads);
    pg_rows_free(&answers.version);
    pg_rows_free(&answers.known);
    pg_rows_free(&answers.recent);
    pg_rows_free(&answers.days);
    return result;
}

enum store_result store_heads_expect(struct pg *pg, const struct head_request *requests, size_t count,
                                     int64_t version)
{
    return pg_run(pg, &sql_heads_expect,
                  PG_ARGS(arg_int4s(COLUMN(requests, count, scheme)),
                          arg_int8s(COLUMN(requests, count, head.last_entry)),
                          arg_int8s(COLUMN(requests, count, head.calendar_version)), arg_int(version)));
}

/* --- facts that an event depends on --------------------------------------------------------------------- */

static void take_exception(struct pg_row *row, void *into)
{
    struct exception *exception = into;
    exception->kind = row_exception_kind(row);
    exception->cup_type = row_int32_or_0(row);
    exception->has_quantity = !row_is_null(row);
    exception->quantity = row_int_or_0(row);
    exception->has_amount = !row_is_null(row);
    exception->amount.minor = row_int_or_0(row);
}

enum store_result store_exceptions_of(struct pg *pg, struct arena *arena, int32_t scheme, int64_t entry,
                                      struct exception **exceptions, size_t *count)
{
    return pg_ask(pg, &sql_exceptions_of_entry, PG_ARGS(arg_int(scheme), arg_int(entry)),
                  PG_LIST(arena, take_exception, NULL, exceptions, count));
}

static void take_balance(struct pg_row *row, void *into)
{
    ((struct account_balance *)into)->balance = row_int(row);
}

enum store_result store_balances(struct pg *pg, struct account_balance *accounts, size_t count)
{
    return pg_ask(
        pg, &sql_balances_of_accounts,
        PG_ARGS(arg_int4s(COLUMN(accounts, count, scheme)), arg_int8s(COLUMN(accounts, count, account))),
        pg_fill(take_balance, accounts, sizeof *accounts, count));
}

enum store_result store_day_counters(struct pg *pg, struct day_counters *days, size_t count)
{
    return pg_ask(pg, &sql_day_counters,
                  PG_ARGS(arg_int4s(COLUMN(days, count, scheme)), arg_dates(COLUMN(days, count, date))),
                  pg_fill(take_day_counters, days, sizeof *days, count));
}

/* The cups of an event. Most events have none. */
static void take_moved_cups(struct pg_row *row, struct referred *referred)
{
    const int64_t *types = row_ints(row, &referred->cup_count);
    const int64_t *damaged = row_ints_of(row, referred->cup_count);
    const int64_t *quantities = row_ints_of(row, referred->cup_count);
    referred->cups = arena_array(row->arena, referred->cup_count + 1, sizeof *referred->cups);
    row_check_memory(row, referred->cups);
    for (size_t i = 0; !row->failed && i < referred->cup_count; i++)
        referred->cups[i] = (struct moved_cups){(int32_t)types[i], damaged[i] != 0, quantities[i]};
}

static void take_referred(struct pg_row *row, void *into)
{
    struct referred *referred = into;
    referred->entry = row_int(row);
    referred->business_date = row_date(row);
    referred->kind = (enum entry_kind)row_int32(row);
    referred->site = row_int32_or_0(row);
    struct stored_legs list = row_legs(row);
    referred->legs = list.legs;
    referred->leg_count = list.count;
    referred->reversed = row_bool(row);
    referred->arrived = row_bool(row);
    referred->refers = row_int_or_0(row);
    referred->host = row_int32_or_0(row);
    referred->dispatch = row_int_or_0(row);
    take_moved_cups(row, referred);
}

enum store_result store_referred(struct pg *pg, struct arena *arena, int32_t scheme, const struct uuid *id,
                                 struct referred *referred)
{
    *referred = (struct referred){0};
    return pg_ask(pg, &sql_referred, PG_ARGS(arg_int(scheme), arg_uuid(id)),
                  pg_maybe(arena, take_referred, referred, &referred->found));
}

enum store_result store_book_after(struct pg *pg, struct arena *arena, const struct book_moment *moment,
                                   struct leg **legs, size_t *count)
{
    return pg_ask(pg, &sql_book_after,
                  PG_ARGS(arg_int(moment->scheme), arg_int(moment->site), arg_instant(moment->instant),
                          arg_date(moment->day)),
                  PG_LIST(arena, take_leg, NULL, legs, count));
}

enum store_result store_forfeited(struct pg *pg, int32_t scheme, int32_t cup_type, int64_t *cups)
{
    *cups = 0;
    return pg_ask(pg, &sql_forfeited, PG_ARGS(arg_int(scheme), arg_int(cup_type)),
                  pg_maybe(NULL, take_int, cups, NULL));
}

static void take_agreed(struct pg_row *row, void *into)
{
    struct agreed *agreed = into;
    agreed->home = row_int32(row);
    agreed->host = row_int32(row);
    agreed->exact.minor = row_int(row);
    agreed->in_host_currency = row_bool(row);
    agreed->rate_e12 = row_int(row);
}

enum store_result store_agreed_of(struct pg *pg, struct arena *arena, int32_t scheme, int64_t entry,
                                  struct agreed **agreed, size_t *count)
{
    return pg_ask(pg, &sql_agreed_of, PG_ARGS(arg_int(scheme), arg_int(entry)),
                  PG_LIST(arena, take_agreed, NULL, agreed, count));
}

struct posting_day {
    struct date date;
    bool begun;
};

static void take_posting_day(struct pg_row *row, void *into)
{
    struct posting_day *day = into;
    bool known = !row_is_null(row);
    if (known)
        day->date = row_date(row);
    else
        row_skip(row);
    day->begun = row_bool(row) && known;
}

enum store_result store_posting_day(struct pg *pg, int32_t scheme, struct instant instant, struct date *date,
                                    bool *begun)
{
    struct posting_day day = {0};
    enum store_result result = pg_ask(pg, &sql_posting_day, PG_ARGS(arg_int(scheme), arg_instant(instant)),
                                      pg_one(NULL, take_posting_day, &day));
    *date = day.date;
    *begun = day.begun;
    return result;
}
