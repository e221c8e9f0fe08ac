/* SPDX-License-Identifier: ISC */
/* The fees that a close charges: for cups by the rows of the terms, and the standing fee of a month. */
#include "app/closing/close_fees.h"

#include <assert.h>

/* The index of the site's first row of cups. */
static size_t first_counted(const struct closing *closing, int32_t site)
{
    size_t low = 0, high = closing->counted_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (closing->counted[middle].site < site)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* The part of a site's fees that goes by the terms of one day, as site and participant were on that day. So
 * nobody gains by reversing an event after a fee has changed. */
static struct fee_part part_of(const struct closing *closing, const struct closing_site *site,
                               struct date fee_date)
{
    const struct network *network = closing->work->network;
    struct fee_part part = {
        .terms = scheme_terms(closing->work->scheme, fee_date),
        .participant = site->participant,
        .tax_registered = participant_tax_registered(network->participant_by_id[site->participant], fee_date),
        .site_kind = site_kind_on(network->site_by_id[site->site], fee_date),
    };
    assert(part.terms != NULL); /* something was posted on that day, or it closes */
    return part;
}

/* The standing fee is due on the business day dated the 1st, for a whole month. */
static bool owes_standing_fee(const struct closing *closing, const struct closing_site *site)
{
    return site->open && date_month_day(closing->day->date).day == 1;
}

static size_t find_parts(const struct closing *closing, const struct closing_site *site,
                         struct fee_part *parts)
{
    size_t count = 0;
    for (size_t i = first_counted(closing, site->site);
         i < closing->counted_count && closing->counted[i].site == site->site; i++) {
        const struct counted_row *row = &closing->counted[i];
        parts[count] = part_of(closing, site, row->fee_date);
        parts[count].cup_type = row->cup_type;
        parts[count].issued = row->issued;
        parts[count++].returned = row->returned;
    }
    if (owes_standing_fee(closing, site)) {
        parts[count] = part_of(closing, site, closing->day->date);
        parts[count++].standing = true;
    }
    return count;
}

static enum store_result post(struct closing *closing, struct closing_site *site, const struct fees *fees)
{
    struct posting_facts facts = {
        .kind = KIND_FEES,
        .stock_terms = closing->work->scheme->stock_terms,
        .site = site->site,
        .service_fee = fees->fee[FEE_SERVICE],
        .service_tax = fees->tax[FEE_SERVICE],
        .handling_fee = fees->fee[FEE_HANDLING],
        .handling_tax = fees->tax[FEE_HANDLING],
        .standing_fee = fees->fee[FEE_STANDING],
        .standing_tax = fees->tax[FEE_STANDING],
    };
    struct money fee, tax;
    struct draft draft = {.business_date = closing->day->date, .occurred_at = closing_instant(closing)};
    if (!money_add(facts.service_fee, facts.standing_fee, &fee) ||
        !money_sub(fee, facts.handling_fee, &fee) ||
        !money_add(facts.service_tax, facts.standing_tax, &tax) ||
        !money_sub(tax, facts.handling_tax, &tax) || !money_add(site->clearing, fee, &site->clearing) ||
        !money_add(site->clearing, tax, &site->clearing))
        return STORE_OUT_OF_RANGE;
    draft.fees = fee.minor;
    draft.tax = tax.minor;
    return closing_post(closing, &draft, &facts);
}

/* Lines of no cups, because all were reversed, tell nothing. */
static void keep_lines(struct closing *closing, const struct fee_lines *lines)
{
    for (size_t i = 0; i < lines->count; i++)
        if (lines->items[i].quantity.count != 0)
            closing->fee_lines[closing->fee_line_count++] = lines->items[i];
}

static enum store_result charge(struct closing *closing, struct closing_site *site, struct fee_part *parts)
{
    struct fees fees;
    struct fee_lines lines = {closing->fee_lines + closing->fee_line_count, 0};
    size_t count = find_parts(closing, site, parts);
    if (fees_of(site->site, parts, count, &lines, &fees) != REASON_NONE)
        return STORE_OUT_OF_RANGE;
    keep_lines(closing, &lines);
    return post(closing, site, &fees);
}

enum store_result close_fees(struct closing *closing)
{
    struct head_work *work = closing->work;
    enum store_result result = STORE_OK;
    size_t parts_max = closing->counted_count + closing->site_count;
    struct fee_part *parts = arena_array(&work->arena, closing->counted_count + 1, sizeof *parts);
    closing->fee_lines = arena_array(&work->arena, FEE_KINDS * parts_max + 1, sizeof *closing->fee_lines);
    if (parts == NULL || closing->fee_lines == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < closing->site_count && result == STORE_OK; i++)
        result = charge(closing, &closing->sites[i], parts);
    if (result == STORE_OK && closing->fee_line_count > 0)
        result = store_add_fee_lines(work->pg, work->scheme->id, closing->day->date, closing->fee_lines,
                                     closing->fee_line_count);
    return result;
}
