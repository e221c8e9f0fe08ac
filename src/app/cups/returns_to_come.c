/* SPDX-License-Identifier: ISC */
/* Reads the weeks of issue, and has the domain project them. */
#include "app/cups/returns_to_come.h"

#include "store/returns_store.h"

/* How long ago the method is tested: a part of the weeks. */
enum { WEEK_DAYS = 7, TESTED_PART = 4 };

_Static_assert((int)RETURN_WEEKS <= (int)TRIANGLE_MAX, "the weeks fit into a triangle");

static void take_row(struct returns_to_come *returns, const struct fate_row *row)
{
    size_t count = returns->triangle.count;
    if (row->week < 0 || (size_t)row->week >= count)
        return;
    struct return_week *week = &returns->weeks[row->week];
    week->issued += row->cups;
    if (row->later == FATE_FORFEITED)
        week->forfeited += row->cups;
    else if (row->later == FATE_OUT)
        week->out += row->cups;
    else {
        week->back += row->cups;
        for (size_t k = (size_t)row->later; k < count - (size_t)row->week; k++)
            returns->triangle.back[row->week][k] += (double)row->cups;
    }
}

/* No more can come back than is out. */
static void bound(struct returns_to_come *returns)
{
    struct projection *projection = &returns->projection;
    projection->total = 0;
    for (size_t i = 0; i < projection->count; i++) {
        double out = (double)returns->weeks[i].out, *to_come = &projection->to_come[i];
        *to_come = *to_come < 0 ? 0 : *to_come > out ? out : *to_come;
        projection->total += *to_come;
    }
}

/* Projects from an earlier end, and compares with the returns since, as far as the factors of that time
 * reach. */
static void test_on_the_past(struct returns_to_come *returns)
{
    const struct triangle *now = &returns->triangle;
    size_t weeks = now->count / TESTED_PART;
    struct triangle then;
    struct projection projection;
    estimate_cut(now, weeks, &then);
    returns->test.weeks = weeks;
    returns->test.result = estimate_project(&then, &projection);
    if (returns->test.result != ESTIMATE_MADE)
        return;
    for (size_t i = 0; i < then.count; i++) {
        size_t known = then.count - 1 - i, last = known;
        double cups = then.back[i][known];
        for (; last < known + weeks && last + 1 < then.count; last++)
            cups *= projection.factor[last];
        returns->test.expected += cups - then.back[i][known];
        returns->test.came += now->back[i][last] - then.back[i][known];
    }
    returns->test.error = projection.total_error;
}

static void fill(struct returns_to_come *returns, const struct fate_rows *rows)
{
    returns->first = rows->items[0].first;
    returns->last = rows->items[0].last;
    returns->out = returns->older_out = rows->items[0].out;
    returns->triangle.count = (size_t)(returns->last.days - returns->first.days + 1) / WEEK_DAYS;
    for (size_t i = 0; i < rows->count; i++)
        take_row(returns, &rows->items[i]);
    for (size_t i = 0; i < returns->triangle.count; i++)
        returns->older_out -= returns->weeks[i].out;
}

enum store_result returns_to_come_read(struct pg *pg, struct arena *arena, int32_t scheme, int32_t cup_type,
                                       struct returns_to_come *returns, bool *found)
{
    struct fate_rows rows;
    *returns = (struct returns_to_come){0};
    enum store_result result = read_fates(pg, arena, scheme, cup_type, RETURN_WEEKS, &rows);
    *found = result == STORE_OK && rows.count > 0;
    if (!*found)
        return result;
    fill(returns, &rows);
    returns->result = estimate_project(&returns->triangle, &returns->projection);
    if (returns->result == ESTIMATE_MADE)
        bound(returns);
    test_on_the_past(returns);
    return STORE_OK;
}
