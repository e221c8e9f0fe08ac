/* SPDX-License-Identifier: ISC */
/* Remeasurement: a refund value that changes with the next day changes what is owed for each cup. */
#include "app/closing/close_remeasure.h"

#include <assert.h>
#include <stdlib.h>

static bool value_changes(const struct closing *closing, int32_t cup_type, struct money *change)
{
    struct money before, after;
    struct date next = {closing->day->date.days + 1};
    return scheme_value(closing->work->scheme, cup_type, closing->day->date, &before) &&
           scheme_value(closing->work->scheme, cup_type, next, &after) && money_sub(after, before, change) &&
           change->minor != 0;
}

static enum line_list revalued_list(struct account account)
{
    enum line_list list;
    bool found = posting_revalued_list(account_kind_of(account), &list);
    assert(found); /* the statement gives no other accounts */
    return list;
}

static enum store_result post_remeasurement(struct closing *closing, int32_t site,
                                            const struct posting_line *lines, size_t count)
{
    const struct business_day *next = closing->day + 1;
    struct posting_facts facts = {
        .kind = KIND_REMEASUREMENT,
        .stock_terms = closing->work->scheme->stock_terms,
        .site = site,
        .lines = lines,
        .line_count = count,
    };
    struct draft draft = {.business_date = next->date, .occurred_at = next->starts_at};
    return closing_post(closing, &draft, &facts);
}

static int compare_owners(const void *a, const void *b)
{
    const struct leg *left = a, *right = b;
    int32_t difference = account_owner(left->account) - account_owner(right->account);
    if (difference != 0)
        return difference;
    return left->account.code < right->account.code ? -1 : left->account.code > right->account.code;
}

static bool any_value_changes(const struct closing *closing)
{
    struct money change;
    for (size_t i = 0; i < closing->work->network->cup_type_count; i++)
        if (value_changes(closing, closing->work->network->cup_types[i].id, &change))
            return true;
    return false;
}

/* Posts one entry for cups that belong to no site, then one for each site, in the order of their ids. */
enum store_result close_remeasure(struct closing *closing)
{
    struct head_work *work = closing->work;
    struct leg *balances;
    size_t count, line_count = 0;
    int32_t owner = 0;
    if (!any_value_changes(closing))
        return STORE_OK;
    enum store_result result =
        store_cups_through(work->pg, &work->arena, work->scheme->id, closing->day->date, &balances, &count);
    if (result != STORE_OK)
        return result;
    struct posting_line *lines = arena_array(&work->arena, count + 1, sizeof *lines);
    if (lines == NULL)
        return STORE_FAILED;
    qsort(balances, count, sizeof *balances, compare_owners);
    for (size_t i = 0; i < count && result == STORE_OK; i++) {
        struct money change;
        struct account account = balances[i].account;
        if (account_owner(account) != owner) {
            result = post_remeasurement(closing, owner, lines, line_count);
            owner = account_owner(account);
            line_count = 0;
        }
        if (value_changes(closing, account_cup_type(account), &change))
            lines[line_count++] = (struct posting_line){
                .list = revalued_list(account),
                .cup_type = account_cup_type(account),
                .n = {balances[i].amount},
                .change = change,
            };
    }
    return result == STORE_OK ? post_remeasurement(closing, owner, lines, line_count) : result;
}
