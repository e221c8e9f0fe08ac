/* SPDX-License-Identifier: ISC */
/* Verifies seals. Reads the raw entries in order, writes each entry's leaf again, and grows the Merkle tree
 * of each day from these leaves alone. The result is compared with the hash kept with the entry, with the
 * frontier kept with the day, and with the root and the chain of seals of the closed days. */
#include "app/proof/checks.h"

#include "app/proof/sealed.h"

#include <stdlib.h>
#include <string.h>

enum { LEAVES_AT_ONCE = 1000, LEAF_MAX = 1 << 24, DOCUMENT_MAX = 64 << 20 };

struct verification {
    const struct check_scope *scope;
    struct check_figures *figures;
    struct sealed_day *days; /* in ascending order */
    size_t day_count;
    struct frontier *frontiers; /* parallel to the days */
    struct sha256 previous;     /* the seal before the first of the days */
};

static int compare_day(const void *date, const void *day)
{
    int32_t a = ((const struct date *)date)->days, b = ((const struct sealed_day *)day)->date.days;
    return (a > b) - (a < b);
}

/* The frontier of the day; NULL: there is no such day. */
static struct frontier *frontier_of(const struct verification *v, struct date date)
{
    const struct sealed_day *day = bsearch(&date, v->days, v->day_count, sizeof *v->days, compare_day);
    return day != NULL ? &v->frontiers[day - v->days] : NULL;
}

static void verify_leaf(struct verification *v, const struct leaf_row *row, struct buffer *text)
{
    struct sha256 hash = {{0}};
    char date[DATE_TEXT_MAX] = "no business day";
    struct frontier *frontier = frontier_of(v, row->business_date);
    if (frontier == NULL && v->scope->period != NULL)
        return; /* an entry of another month, recorded between */
    bool written = sealed_leaf(v->scope->network, v->scope->scheme, row, text);
    if (written)
        merkle_leaf(text->data, text->length, &hash);
    if (frontier != NULL)
        date_format(row->business_date, date);
    check_examined(v->scope, v->figures,
                   !written || frontier == NULL || memcmp(&hash, &row->hash, sizeof hash) != 0,
                   written ? "entry %lld of %s is not what its hash says"
                           : "entry %lld of %s is such that no leaf can be written for it",
                   (long long)row->entry, date);
    if (frontier != NULL)
        frontier_append(frontier, &hash);
}

static enum store_result verify_leaves(struct verification *v)
{
    struct arena arena;
    struct buffer text;
    struct leaf_row *rows;
    size_t count = 1;
    struct leaf_range range = {v->scope->scheme->id, INT64_MIN, INT64_MAX, LEAVES_AT_ONCE};
    enum store_result result = STORE_OK;
    if (v->scope->period != NULL)
        result = read_leaf_range(v->scope->pg, v->scope->period->first, v->scope->period->last, &range);
    arena_init(&arena, 0);
    buffer_init(&text, LEAF_MAX);
    while (count > 0 && result == STORE_OK) {
        arena_reset(&arena);
        result = read_leaves(v->scope->pg, &arena, &range, &rows, &count);
        for (size_t i = 0; result == STORE_OK && i < count; i++)
            verify_leaf(v, &rows[i], &text);
        if (result == STORE_OK && count > 0)
            range.after = rows[count - 1].entry;
    }
    buffer_dispose(&text);
    arena_dispose(&arena);
    return result;
}

/* Each comparison is separate, so that a finding says which part is wrong. The root is compared with the
 * entries, the link with the day before, and the seal with the stored link, root and figures. */
static enum store_result verify_seal(struct verification *v, const struct sealed_day *day,
                                     const struct frontier *frontier, const struct sha256 *previous,
                                     const char *date)
{
    const struct check_scope *scope = v->scope;
    struct sha256 root, seal;
    struct buffer document;
    struct arena arena;
    frontier_root(frontier, &root);
    check_examined(scope, v->figures,
                   day->entries != (int64_t)frontier->leaves || memcmp(&root, &day->root, sizeof root) != 0,
                   "the root of %s, over %lld entries, is not that of the %llu entries there are", date,
                   (long long)day->entries, (unsigned long long)frontier->leaves);
    check_examined(scope, v->figures, memcmp(previous, &day->previous, sizeof *previous) != 0,
                   "the seal of %s does not follow that of the day before", date);
    buffer_init(&document, DOCUMENT_MAX);
    arena_init(&arena, 0);
    enum store_result result =
        sealed_document(scope->pg, &arena, scope->network, scope->scheme, day, &document);
    if (result == STORE_OK) {
        seal_of(&day->previous, &day->root, document.data, document.length, &seal);
        check_examined(scope, v->figures, memcmp(&seal, &day->seal, sizeof seal) != 0,
                       "the seal of %s is not that of its root, positions and payments", date);
    }
    arena_dispose(&arena);
    buffer_dispose(&document);
    return result;
}

static enum store_result verify_days(struct verification *v)
{
    struct sha256 previous = v->previous;
    enum store_result result = STORE_OK;
    for (size_t i = 0; i < v->day_count && result == STORE_OK; i++) {
        const struct sealed_day *day = &v->days[i];
        const struct frontier *frontier = &v->frontiers[i];
        size_t size = frontier_node_count(frontier) * SHA256_SIZE;
        char date[DATE_TEXT_MAX];
        date_format(day->date, date);
        check_examined(v->scope, v->figures,
                       size != day->frontier_size || memcmp(frontier->nodes, day->frontier, size) != 0,
                       "the tree that %s carries is not that of its entries", date);
        if (!day->sealed)
            continue;
        result = verify_seal(v, day, frontier, &previous, date);
        previous = day->seal;
    }
    return result;
}

/* Leaves only the days of the period. */
static void keep_period(struct verification *v, const struct check_period *period)
{
    while (v->day_count > 0 && v->days->date.days < period->first.days) {
        if (v->days->sealed)
            v->previous = v->days->seal;
        v->days++;
        v->day_count--;
    }
    while (v->day_count > 0 && v->days[v->day_count - 1].date.days > period->last.days)
        v->day_count--;
}

enum store_result check_seals(const struct check_scope *scope, struct check_figures *figures)
{
    struct verification v = {.scope = scope, .figures = figures};
    enum store_result result =
        read_sealed_days(scope->pg, scope->arena, scope->scheme->id, &v.days, &v.day_count);
    if (result != STORE_OK)
        return result;
    if (scope->period != NULL)
        keep_period(&v, scope->period);
    v.frontiers = calloc(v.day_count + 1, sizeof *v.frontiers);
    if (v.frontiers == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < v.day_count; i++)
        frontier_init(&v.frontiers[i]);
    result = verify_leaves(&v);
    if (result == STORE_OK)
        result = verify_days(&v);
    free(v.frontiers);
    return result;
}
