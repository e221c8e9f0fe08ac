/* SPDX-License-Identifier: ISC */
/* The rows stand in the order in which they were first asked for, and are found by their keys. */
#include "app/posting/movement_sums.h"

void movement_sums_init(struct movement_sums *sums, struct arena *arena)
{
    *sums = (struct movement_sums){.arena = arena};
    pairs_init(&sums->movement_keys, arena);
    pairs_init(&sums->site_day_keys, arena);
}

enum store_result movement_sums_add_leg(struct movement_sums *sums, struct date date, struct leg leg)
{
    uint32_t position;
    bool added;
    if (!pairs_put(&sums->movement_keys, (struct pair){leg.account.code, date.days}, &position, &added) ||
        !arena_grow(sums->arena, &sums->movements, position, &sums->movement_capacity,
                    sizeof *sums->movements))
        return STORE_FAILED;
    struct movement_row *movement = &sums->movements[position];
    if (added)
        *movement = (struct movement_row){.account = leg.account, .business_date = date};
    return __builtin_add_overflow(movement->amount, leg.amount, &movement->amount) ? STORE_OUT_OF_RANGE
                                                                                   : STORE_OK;
}

struct site_day_row *movement_sums_site_day(struct movement_sums *sums, int32_t site, struct date date)
{
    uint32_t position;
    bool added;
    if (!pairs_put(&sums->site_day_keys, (struct pair){site, date.days}, &position, &added) ||
        !arena_grow(sums->arena, &sums->site_days, position, &sums->site_day_capacity,
                    sizeof *sums->site_days))
        return NULL;
    if (added)
        sums->site_days[position] = (struct site_day_row){.site = site, .business_date = date};
    return &sums->site_days[position];
}

static bool add_figures(struct site_day_row *row, const struct site_day_row *more)
{
    int64_t *figures[] = {&row->activity.issued,
                          &row->activity.returned,
                          &row->activity.collected,
                          &row->activity.refunded,
                          &row->activity.stock,
                          &row->activity.other,
                          &row->fees,
                          &row->tax};
    const int64_t added[] = {more->activity.issued,
                             more->activity.returned,
                             more->activity.collected,
                             more->activity.refunded,
                             more->activity.stock,
                             more->activity.other,
                             more->fees,
                             more->tax};
    for (size_t i = 0; i < sizeof added / sizeof added[0]; i++)
        if (__builtin_add_overflow(*figures[i], added[i], figures[i]))
            return false;
    return true;
}

enum store_result movement_sums_add_all(struct movement_sums *sums, const struct movement_sums *more)
{
    enum store_result result = STORE_OK;
    for (size_t i = 0; i < more->movement_keys.count && result == STORE_OK; i++) {
        const struct movement_row *movement = &more->movements[i];
        result = movement_sums_add_leg(sums, movement->business_date,
                                       (struct leg){movement->account, movement->amount});
    }
    for (size_t i = 0; i < more->site_day_keys.count && result == STORE_OK; i++) {
        const struct site_day_row *day = &more->site_days[i];
        struct site_day_row *sum = movement_sums_site_day(sums, day->site, day->business_date);
        if (sum == NULL)
            return STORE_FAILED;
        if (!add_figures(sum, day))
            return STORE_OUT_OF_RANGE;
    }
    return result;
}
