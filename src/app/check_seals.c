/* SPDX-License-Identifier: ISC */
/* Verifying seals: reads the raw entries in their order, writes each one's leaf anew, and grows the Merkle
 * tree of each day from those leaves alone. Against that stand the hash kept with the entry, the frontier
 * kept with the day, and the root and the chain of seals of the days that are closed. */
#include "app/checks.h"

#include "app/canonical.h"
#include "app/close.h"
#include "store/seal_store.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LEAVES_AT_ONCE = 1000, LEAF_MAX = 1 << 24, DOCUMENT_MAX = 64 << 20, DETAIL_MAX = 160 };

struct verification {
    const struct check_scope *scope;
    struct check_figures *figures;
    struct sealed_day *days; /* in ascending order */
    size_t day_count;
    struct frontier *frontiers; /* parallel to the days */
};

static PRINTF_LIKE(3, 4) void examined(struct verification *v, bool broken, const char *format, ...)
{
    v->figures->examined++;
    if (!broken)
        return;
    if (v->figures->broken++ == 0) {
        char detail[DETAIL_MAX];
        va_list arguments;
        va_start(arguments, format);
        int length = vsnprintf(detail, sizeof detail, format, arguments);
        va_end(arguments);
        if (length > 0)
            v->figures->detail = arena_copy(v->scope->arena, detail, strlen(detail));
    }
}

/* Whether the network has what the account's number speaks of: else no name can be written for it. */
static bool account_is_known(const struct network *network, struct account account)
{
    int32_t owner = account_owner(account), cup_type = account_cup_type(account);
    if (account_kind_word(account_kind_of(account)) == NULL)
        return false;
    enum account_scope scope = account_kind_scope(account_kind_of(account));
    bool of_site = scope == SCOPE_SITE || scope == SCOPE_SITE_CUP_TYPE;
    bool of_cup_type = scope == SCOPE_CUP_TYPE || scope == SCOPE_SITE_CUP_TYPE;
    if (of_cup_type && (cup_type >= network->cup_type_ids || network->cup_type_by_id[cup_type] == NULL))
        return false;
    if (of_site && (owner < 0 || owner >= network->site_ids || network->site_by_id[owner] == NULL))
        return false;
    return scope != SCOPE_PARTICIPANT ||
           (owner >= 0 && owner < network->participant_ids && network->participant_by_id[owner] != NULL);
}

/* False: the row is such that no leaf can be written for it. */
static bool leaf_hash(const struct check_scope *scope, const struct leaf_row *row, struct buffer *text,
                      struct sha256 *hash)
{
    struct canonical_entry entry = {.network = scope->network,
                                    .scheme = scope->scheme,
                                    .entry = row->entry,
                                    .business_date = row->business_date,
                                    .kind = row->kind,
                                    .event = row->event,
                                    .legs = row->legs,
                                    .leg_count = row->leg_count};
    if (row->kind <= KIND_NONE || row->kind >= KIND_LIMIT || entry_kind_word(row->kind) == NULL)
        return false;
    for (size_t i = 0; i < row->leg_count; i++)
        if (!account_is_known(scope->network, row->legs[i].account))
            return false;
    buffer_reset(text);
    canonical_leaf(&entry, text);
    if (text->failed)
        return false;
    merkle_leaf(text->data, text->length, hash);
    return true;
}

/* The frontier of the day; NULL: there is no such day. Days have no gaps. */
static struct frontier *frontier_of(const struct verification *v, struct date date)
{
    if (v->day_count == 0 || date.days < v->days[0].date.days)
        return NULL;
    size_t at = (size_t)(date.days - v->days[0].date.days);
    return at < v->day_count && v->days[at].date.days == date.days ? &v->frontiers[at] : NULL;
}

static void verify_leaf(struct verification *v, const struct leaf_row *row, struct buffer *text)
{
    struct sha256 hash = {{0}};
    struct frontier *frontier = frontier_of(v, row->business_date);
    bool written = leaf_hash(v->scope, row, text, &hash);
    examined(v, !written || frontier == NULL || memcmp(&hash, &row->hash, sizeof hash) != 0,
             "entry %lld is not what its hash says", (long long)row->entry);
    if (frontier != NULL)
        frontier_append(frontier, &hash);
}

static enum store_result verify_leaves(struct verification *v)
{
    struct arena arena;
    struct buffer text;
    struct leaf_row *rows;
    size_t count = LEAVES_AT_ONCE;
    int64_t after = 0;
    enum store_result result = STORE_OK;
    arena_init(&arena, 0);
    buffer_init(&text, LEAF_MAX);
    while (count == LEAVES_AT_ONCE && result == STORE_OK) {
        arena_reset(&arena);
        result =
            read_leaves(v->scope->pg, &arena, v->scope->scheme->id, after, LEAVES_AT_ONCE, &rows, &count);
        for (size_t i = 0; result == STORE_OK && i < count; i++)
            verify_leaf(v, &rows[i], &text);
        if (result == STORE_OK && count > 0)
            after = rows[count - 1].entry;
    }
    buffer_dispose(&text);
    arena_dispose(&arena);
    return result;
}

/* The document that the day's seal is over, from the rows that hold its figures. */
static enum store_result seal_document(const struct check_scope *scope, const struct sealed_day *day,
                                       uint64_t entries, struct buffer *text)
{
    struct position_row *positions;
    struct payment_row *payments;
    struct close_document document = {
        .network = scope->network, .scheme = scope->scheme, .date = day->date, .entries = entries};
    enum store_result result = read_positions(scope->pg, scope->arena, scope->scheme->id, day->date,
                                              &positions, &document.position_count);
    if (result == STORE_OK)
        result = read_payments(scope->pg, scope->arena, scope->scheme->id, day->date, &payments,
                               &document.payment_count);
    if (result != STORE_OK)
        return result;
    document.positions = positions;
    document.payments = payments;
    close_document(&document, text);
    return text->failed ? STORE_FAILED : STORE_OK;
}

static enum store_result verify_seal(struct verification *v, const struct sealed_day *day,
                                     const struct frontier *frontier, const struct sha256 *previous)
{
    struct sha256 root, seal;
    struct buffer document;
    char date[DATE_TEXT_MAX];
    date_format(day->date, date);
    frontier_root(frontier, &root);
    examined(v, day->entries != (int64_t)frontier->leaves || memcmp(&root, &day->root, sizeof root) != 0,
             "the root of %s is not that of its entries", date);
    buffer_init(&document, DOCUMENT_MAX);
    enum store_result result = seal_document(v->scope, day, frontier->leaves, &document);
    if (result == STORE_OK) {
        seal_of(previous, &root, document.data, document.length, &seal);
        examined(v,
                 memcmp(previous, &day->previous, sizeof *previous) != 0 ||
                     memcmp(&seal, &day->seal, sizeof seal) != 0,
                 "the seal of %s does not verify", date);
    }
    buffer_dispose(&document);
    return result;
}

static enum store_result verify_days(struct verification *v)
{
    struct sha256 previous = {{0}};
    enum store_result result = STORE_OK;
    for (size_t i = 0; i < v->day_count && result == STORE_OK; i++) {
        const struct sealed_day *day = &v->days[i];
        const struct frontier *frontier = &v->frontiers[i];
        size_t size = frontier_node_count(frontier) * SHA256_SIZE;
        char date[DATE_TEXT_MAX];
        date_format(day->date, date);
        examined(v, size != day->frontier_size || memcmp(frontier->nodes, day->frontier, size) != 0,
                 "the tree that %s carries is not that of its entries", date);
        if (!day->sealed)
            continue;
        result = verify_seal(v, day, frontier, &previous);
        previous = day->seal;
    }
    return result;
}

enum store_result check_seals(const struct check_scope *scope, struct check_figures *figures)
{
    struct verification v = {.scope = scope, .figures = figures};
    enum store_result result =
        read_sealed_days(scope->pg, scope->arena, scope->scheme->id, &v.days, &v.day_count);
    if (result != STORE_OK)
        return result;
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
