/* SPDX-License-Identifier: ISC */
/* Reads the money and the tasks of all schemes, with one statement each, and puts them side by side. */
#include "app/office/overview.h"

#include "store/read_store.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

const char *const overview_states[] = {
#define X(name, word) [OVERVIEW_##name] = word,
    OVERVIEW_STATE_TABLE(X)
#undef X
        [OVERVIEW_STATES] = NULL};

/* A task has its count; two tasks may share one. */
static const struct {
    enum overview_count count;
    const char *tasks[2];
} counted[] = {
#define X(name, word, task, other) [OVERVIEW_COUNT_##name] = {OVERVIEW_COUNT_##name, {task, other}},
    OVERVIEW_COUNT_TABLE(X)
#undef X
};

/* --- the order ----------------------------------------------------------------------------------------- */

static int64_t open_things(const struct overview_row *row)
{
    return row->counts[OVERVIEW_COUNT_EXCEPTIONS] + row->counts[OVERVIEW_COUNT_JOURNALS] +
           row->counts[OVERVIEW_COUNT_OPENINGS] + row->counts[OVERVIEW_COUNT_BANK_LINES];
}

static bool is_in_arrears(const struct overview_row *row)
{
    return row->amounts[OVERVIEW_AMOUNT_ARREARS_TO_POOL].minor != 0 ||
           row->amounts[OVERVIEW_AMOUNT_ARREARS_OF_POOL].minor != 0;
}

bool overview_is(const struct overview_row *row, enum overview_state state)
{
    switch (state) {
    case OVERVIEW_UNCOVERED:
        return row->amounts[OVERVIEW_AMOUNT_UNCOVERED].minor > 0;
    case OVERVIEW_LATE:
        return row->counts[OVERVIEW_COUNT_DAYS] > 0 || row->late_events > 0 ||
               row->counts[OVERVIEW_COUNT_COUNTS] > 0;
    case OVERVIEW_OWED:
        return row->amounts[OVERVIEW_AMOUNT_TO_COLLECT].minor != 0 ||
               row->amounts[OVERVIEW_AMOUNT_TO_PAY].minor != 0 || is_in_arrears(row);
    case OVERVIEW_OPEN:
        return open_things(row) > 0;
    case OVERVIEW_CLEAR:
        return !overview_is(row, OVERVIEW_UNCOVERED) && !overview_is(row, OVERVIEW_LATE) &&
               !overview_is(row, OVERVIEW_OWED) && !overview_is(row, OVERVIEW_OPEN);
    case OVERVIEW_STATES:
        break;
    }
    abort();
}

enum overview_state overview_worst(const struct overview_row *row)
{
    enum overview_state state = 0;
    while (!overview_is(row, state))
        state++;
    return state;
}

static int more_first(int64_t a, int64_t b)
{
    return a > b ? -1 : a < b;
}

int overview_order(const void *left, const void *right)
{
    const struct overview_row *a = left, *b = right;
    const int by[] = {
        more_first(overview_is(a, OVERVIEW_UNCOVERED), overview_is(b, OVERVIEW_UNCOVERED)),
        more_first(a->counts[OVERVIEW_COUNT_DAYS], b->counts[OVERVIEW_COUNT_DAYS]),
        more_first(a->overdue, b->overdue),
        more_first(is_in_arrears(a), is_in_arrears(b)),
        more_first(open_things(a), open_things(b)),
    };
    for (size_t i = 0; i < sizeof by / sizeof by[0]; i++)
        if (by[i] != 0)
            return by[i];
    return strcmp(a->scheme->code, b->scheme->code);
}

/* --- reading ------------------------------------------------------------------------------------------- */

static void take_money(const struct overview_money *money, struct overview_row *row)
{
    row->today = money->today;
    row->late_events = money->late_events;
    row->late_from = money->late_from;
    row->overdue = money->overdue;
    row->amounts[OVERVIEW_AMOUNT_UNCOVERED].minor = money->surplus.minor < 0 ? -money->surplus.minor : 0;
    row->amounts[OVERVIEW_AMOUNT_TO_COLLECT] = money->to_collect;
    row->amounts[OVERVIEW_AMOUNT_TO_PAY] = money->to_pay;
    row->amounts[OVERVIEW_AMOUNT_ARREARS_TO_POOL] = money->arrears_to_pool;
    row->amounts[OVERVIEW_AMOUNT_ARREARS_OF_POOL] = money->arrears_of_pool;
}

static void take_task(const struct task_row *task, struct overview_row *row)
{
    for (size_t i = 0; i < OVERVIEW_COUNTS; i++)
        for (size_t k = 0; k < 2 && counted[i].tasks[k] != NULL; k++)
            if (strcmp(counted[i].tasks[k], task->task) == 0)
                row->counts[counted[i].count] += task->how_many;
    row->first_day = task->first_day;
    row->count_before = task->count_before;
}

/* Both statements give the schemes that were asked for; tasks only those that have some. */
static struct overview_row *row_of(struct overview *overview, const struct scheme *scheme)
{
    for (size_t i = 0; scheme != NULL && i < overview->count; i++)
        if (overview->rows[i].scheme == scheme)
            return &overview->rows[i];
    return NULL;
}

static bool begin_rows(struct arena *arena, const struct overview_question *question,
                       const struct overview_money *money, size_t count, struct overview *overview)
{
    overview->rows = arena_array(arena, count + 1, sizeof *overview->rows);
    if (overview->rows == NULL)
        return false;
    for (size_t i = 0; i < count; i++) {
        struct overview_row *row = &overview->rows[overview->count++];
        row->scheme = question->network->scheme_by_id[money[i].scheme];
        take_money(&money[i], row);
    }
    return true;
}

/* Leaves the rows of the state that is asked for, and sorts them. */
static void choose(const struct overview_question *question, struct overview *overview)
{
    size_t chosen = 0;
    for (size_t i = 0; i < overview->count; i++)
        if (!question->has_state || overview_is(&overview->rows[i], question->state))
            overview->rows[chosen++] = overview->rows[i];
    overview->count = chosen;
    qsort(overview->rows, chosen, sizeof *overview->rows, overview_order);
}

static struct overview_sums *sums_of(struct overview *overview, const struct currency *currency)
{
    for (size_t i = 0; i < overview->sum_count; i++)
        if (overview->sums[i].currency == currency)
            return &overview->sums[i];
    overview->sums[overview->sum_count] = (struct overview_sums){.currency = currency};
    return &overview->sums[overview->sum_count++];
}

static int by_currency(const void *left, const void *right)
{
    const struct overview_sums *a = left, *b = right;
    return strcmp(a->currency->code, b->currency->code);
}

static bool add_up(struct overview *overview)
{
    bool added = true;
    for (size_t i = 0; i < overview->count; i++) {
        struct overview_sums *sums = sums_of(overview, overview->rows[i].scheme->currency);
        sums->schemes++;
        for (size_t k = 0; k < OVERVIEW_AMOUNTS; k++)
            added = money_add(sums->amounts[k], overview->rows[i].amounts[k], &sums->amounts[k]) && added;
    }
    qsort(overview->sums, overview->sum_count, sizeof *overview->sums, by_currency);
    return added;
}

static enum store_result read_counts(struct pg *pg, struct arena *arena,
                                     const struct overview_question *question, struct overview *overview)
{
    const char *names[2 * OVERVIEW_COUNTS];
    size_t count;
    struct task_row *tasks;
    struct tasks_asked asked = {.schemes = question->schemes,
                                .scheme_count = question->scheme_count,
                                .key = question->key,
                                .tasks = names,
                                .count_days = question->count_days};
    for (size_t i = 0; i < OVERVIEW_COUNTS; i++)
        for (size_t k = 0; k < 2 && counted[i].tasks[k] != NULL; k++)
            names[asked.task_count++] = counted[i].tasks[k];
    enum store_result result = read_tasks(pg, arena, &asked, &tasks, &count);
    for (size_t i = 0; result == STORE_OK && i < count; i++) {
        const char *code = tasks[i].scheme;
        struct overview_row *row =
            code != NULL ? row_of(overview, network_scheme(question->network, code)) : NULL;
        if (row != NULL)
            take_task(&tasks[i], row);
    }
    return result;
}

enum store_result overview_read(struct pg *pg, struct arena *arena, const struct overview_question *question,
                                struct overview *overview, struct faults *faults)
{
    size_t count;
    struct overview_money *money;
    *overview = (struct overview){0};
    enum store_result result =
        read_overview(pg, arena, question->schemes, question->scheme_count, &money, &count);
    if (result != STORE_OK)
        return result;
    overview->sums = arena_array(arena, count + 1, sizeof *overview->sums);
    if (overview->sums == NULL || !begin_rows(arena, question, money, count, overview))
        return STORE_FAILED;
    result = read_counts(pg, arena, question, overview);
    if (result != STORE_OK)
        return result;
    choose(question, overview);
    if (!add_up(overview))
        faults_add(faults, REASON_OUT_OF_RANGE, NULL, "A sum over all schemes is too large");
    return STORE_OK;
}

/* --- one currency -------------------------------------------------------------------------------------- */

static const struct overview_rate *rate_of(const struct overview_rate *rates, size_t count,
                                           const struct currency *currency)
{
    for (size_t i = 0; i < count; i++)
        if (rates[i].of == currency)
            return &rates[i];
    return NULL;
}

bool overview_in_one(const struct overview *overview, const struct currency *currency,
                     const struct overview_rate *rates, size_t rate_count, struct overview_sums *one)
{
    bool added = true;
    *one = (struct overview_sums){.currency = currency};
    for (size_t i = 0; i < overview->sum_count && added; i++) {
        const struct overview_sums *sums = &overview->sums[i];
        const struct overview_rate *rate = rate_of(rates, rate_count, sums->currency);
        one->schemes += sums->schemes;
        for (size_t k = 0; k < OVERVIEW_AMOUNTS && added; k++) {
            struct money amount = sums->amounts[k];
            if (sums->currency != currency) {
                assert(rate != NULL);
                added = money_exchange_at(sums->amounts[k], sums->currency, currency, rate->rate, &amount);
            }
            added = added && money_add(one->amounts[k], amount, &one->amounts[k]);
        }
    }
    return added;
}
