/* SPDX-License-Identifier: ISC */
/* Activity and fees. */
#include "depositd/fees.h"

#include <stdlib.h>

static bool is_clearing(struct leg leg)
{
    return account_kind_of(leg.account) == ACCOUNT_SITE_CLEARING;
}

static bool is_stock(struct leg leg)
{
    return account_kind_holds(account_kind_of(leg.account)) == HOLDS_STOCK;
}

int32_t activity_site(struct leg leg)
{
    return is_clearing(leg) || is_stock(leg) ? account_owner(leg.account) : 0;
}

static bool add(int64_t *sum, int64_t amount)
{
    return !__builtin_add_overflow(*sum, amount, sum);
}

/* The meaning of a leg of the site's clearing. A mirrored leg takes away the amount that the reversed leg had
 * added, so the sign of the reversed leg decides whether money was collected or refunded. */
static bool add_dealing(struct activity *activity, enum kind_activity kind, bool mirrored, int64_t amount)
{
    bool collected = (mirrored ? -amount : amount) > 0;
    switch (kind) {
    case ACTIVITY_COUNTER:
        return collected ? add(&activity->collected, amount) : add(&activity->refunded, -amount);
    case ACTIVITY_STOCK:
        return add(&activity->stock, amount);
    case ACTIVITY_OTHER:
        return add(&activity->other, amount);
    case ACTIVITY_CLOSE:
        return true;
    }
    abort();
}

/* The meaning of a leg of the site's cups: fees are due on those that go to a customer or come back from
 * one. */
static bool add_cups(struct activity *activity, enum kind_activity kind, bool mirrored, int64_t amount)
{
    bool issued = (mirrored ? -amount : amount) < 0;
    if (kind != ACTIVITY_COUNTER)
        return true;
    return issued ? add(&activity->issued, -amount) : add(&activity->returned, amount);
}

bool activity_add(struct activity *activity, enum entry_kind kind, bool mirrored, struct leg leg)
{
    if (is_clearing(leg))
        return add_dealing(activity, entry_kind_activity(kind), mirrored, leg.amount);
    if (is_stock(leg))
        return add_cups(activity, entry_kind_activity(kind), mirrored, leg.amount);
    return true;
}

/* --- which row gives a fee --- */

static bool fits(const struct fee_row *row, const struct fee_part *part)
{
    return (row->participant == 0 || row->participant == part->participant) &&
           (!row->names_kind || row->site_kind == part->site_kind) &&
           (row->cup_type == 0 || row->cup_type == part->cup_type);
}

/* A participant outweighs kind and cup type together, and a kind a cup type. No two rows of one date name the
 * same, so no two rows that fit weigh the same. */
static int weight(const struct fee_row *row)
{
    return 1 + (row->participant != 0 ? 4 : 0) + (row->names_kind ? 2 : 0) + (row->cup_type != 0 ? 1 : 0);
}

int32_t fee_row_of(const struct fee_part *part, enum fee_kind kind)
{
    int32_t found = 0;
    int heaviest = 0;
    for (size_t i = 0; i < part->terms->fee_row_count; i++) {
        const struct fee_row *row = &part->terms->fee_rows[i];
        if (row->states[kind] && fits(row, part) && weight(row) > heaviest) {
            heaviest = weight(row);
            found = (int32_t)i + 1;
        }
    }
    return found;
}

struct money fee_of_row(const struct terms *terms, enum fee_kind kind, int32_t row)
{
    return row > 0 ? terms->fee_rows[row - 1].fee[kind] : terms->fee[kind];
}

/* --- the charge of a site --- */

static bool is_same(const struct fee_line *a, const struct fee_line *b)
{
    return a->kind == b->kind && a->terms.days == b->terms.days && a->row == b->row &&
           a->tax_rate.ppm == b->tax_rate.ppm;
}

static bool add_line(struct fee_lines *lines, const struct fee_line *line)
{
    for (size_t i = 0; i < lines->count; i++)
        if (is_same(&lines->items[i], line))
            return cups_add(lines->items[i].quantity, line->quantity, &lines->items[i].quantity);
    lines->items[lines->count++] = *line;
    return true;
}

static struct cups quantity_of(const struct fee_part *part, enum fee_kind kind)
{
    switch (kind) {
    case FEE_SERVICE:
        return part->issued;
    case FEE_HANDLING:
        return part->returned;
    case FEE_STANDING:
        return (struct cups){part->standing ? 1 : 0};
    }
    abort();
}

static const char *const words[FEE_KINDS] = {
    [FEE_SERVICE] = "service", [FEE_HANDLING] = "handling", [FEE_STANDING] = "standing"};

static bool add_part(int32_t site, const struct fee_part *part, struct fee_lines *lines)
{
    for (enum fee_kind kind = FEE_SERVICE; (int)kind < FEE_KINDS; kind++) {
        bool taxed = kind != FEE_HANDLING || part->tax_registered;
        struct fee_line line = {
            .site = site,
            .kind = kind,
            .word = words[kind],
            .terms = part->terms->from,
            .tax_rate = taxed ? part->terms->tax_rate : (struct rate){0},
            .quantity = quantity_of(part, kind),
        };
        if (line.quantity.count == 0)
            continue;
        line.row = fee_row_of(part, kind);
        line.each = fee_of_row(part->terms, kind, line.row);
        if (kind == FEE_STANDING && line.row == 0 && line.each.minor == 0)
            continue; /* the terms have no standing fee */
        if (!add_line(lines, &line))
            return false;
    }
    return true;
}

static bool add_fees(const struct fee_line *line, struct fees *fees, struct tax_sum *taxes)
{
    struct money part;
    return money_times(line->each, line->quantity, &part) &&
           money_add(fees->fee[line->kind], part, &fees->fee[line->kind]) &&
           money_tax_add(&taxes[line->kind], part, line->tax_rate);
}

enum reason fees_of(int32_t site, const struct fee_part *parts, size_t count, struct fee_lines *lines,
                    struct fees *fees)
{
    struct tax_sum taxes[FEE_KINDS] = {0};
    *fees = (struct fees){0};
    lines->count = 0;
    for (size_t i = 0; i < count; i++)
        if (!add_part(site, &parts[i], lines))
            return REASON_OUT_OF_RANGE;
    for (size_t i = 0; i < lines->count; i++)
        if (!add_fees(&lines->items[i], fees, taxes))
            return REASON_OUT_OF_RANGE;
    for (int kind = 0; kind < FEE_KINDS; kind++)
        fees->tax[kind] = money_tax_rounded(taxes[kind]);
    return REASON_NONE;
}
