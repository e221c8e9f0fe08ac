/* SPDX-License-Identifier: ISC */
/* The rules for what fees depend on: rows of fees in terms, dated registrations for tax, dated kinds of
 * sites. */
#include "app/network/reference_fees.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- rows of fees ---- */

static void check_fee(struct change *change, size_t index, const char *name, bool given,
                      struct decimal amount, int decimals)
{
    char member[PLACE_MAX];
    snprintf(member, sizeof member, "/fees/%zu/%s", index, name);
    if (given)
        check_amount(change, member, amount, decimals);
}

static void check_fee_row(struct change *change, const struct fee_row_row *row, size_t index, int decimals)
{
    check_fee(change, index, "service_fee", row->has_service_fee, row->service_fee, decimals);
    check_fee(change, index, "handling_fee", row->has_handling_fee, row->handling_fee, decimals);
    check_fee(change, index, "monthly_fee", row->has_monthly_fee, row->monthly_fee, decimals);
    if (!change->row_is_faulty && !row->has_service_fee && !row->has_handling_fee && !row->has_monthly_fee)
        blame_element(change, REASON_MEMBER_MISSING, "fees", index, "",
                      "states none of service_fee, handling_fee and monthly_fee");
    if (row->has_monthly_fee && *row->cup_type != '\0')
        blame_element(change, REASON_MEMBER_UNKNOWN, "fees", index, "/monthly_fee",
                      "is not known beside a cup_type: a standing fee is for a site");
}

static int compare_fee_rows(const void *a, const void *b)
{
    const struct fee_row_row *left = *(const struct fee_row_row *const *)a;
    const struct fee_row_row *right = *(const struct fee_row_row *const *)b;
    int left_kind = left->has_site_kind ? left->site_kind : -1;
    int right_kind = right->has_site_kind ? right->site_kind : -1;
    int order = strcmp(left->participant, right->participant);
    if (order == 0)
        order = left_kind - right_kind;
    if (order == 0)
        order = strcmp(left->cup_type, right->cup_type);
    return order;
}

/* Refuses two rows that name the same: neither would come before the other. */
static enum store_result check_fee_repeats(struct change *change, const struct reference_list *fees)
{
    const struct fee_row_row *rows = fees->items;
    const struct fee_row_row **sorted = arena_array(change->scratch, fees->count + 1, sizeof *sorted);
    if (sorted == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < fees->count; i++)
        sorted[i] = &rows[i];
    qsort(sorted, fees->count, sizeof *sorted, compare_fee_rows);
    for (size_t i = 1; i < fees->count; i++)
        if (compare_fee_rows(&sorted[i - 1], &sorted[i]) == 0) {
            const struct fee_row_row *later = sorted[i] > sorted[i - 1] ? sorted[i] : sorted[i - 1];
            blame_element(change, REASON_FEE_ROW_REPEATED, "fees", (size_t)(later - rows), "",
                          "names the same participant, site_kind and cup_type as another row");
        }
    return STORE_OK;
}

/* Which terms and which of their rows of fees name a participant and a cup type. */
struct fee_place {
    size_t terms, row;
};

static size_t list_fees(const struct listing *listing, struct named_codes *named, struct fee_place *places)
{
    size_t count = 0;
    for (size_t i = 0; i < listing->count; i++) {
        const struct terms_row *terms = listing->rows[i].row;
        const struct fee_row_row *rows = terms->fees.items;
        for (size_t k = 0; k < terms->fees.count; k++, count++)
            if (named != NULL && places != NULL) {
                memcpy(named[count].participant, rows[k].participant, CODE_SIZE);
                memcpy(named[count].cup_type, rows[k].cup_type, CODE_SIZE);
                places[count] = (struct fee_place){i, k};
            }
    }
    return count;
}

static void blame_unknown(struct change *change, const struct listing *listing, const struct fee_place *place,
                          enum reason reason, const char *member)
{
    check_row(change, listing, place->terms);
    blame_element(change, reason, "fees", place->row, member, "is not known");
    listing->rows[place->terms].left_out = true;
}

static enum store_result check_named(struct change *change, const struct listing *listing, size_t count)
{
    struct unknown_codes unknown;
    struct named_codes *named = arena_array(change->scratch, count, sizeof *named);
    struct fee_place *places = arena_array(change->scratch, count, sizeof *places);
    if (named == NULL || places == NULL)
        return STORE_FAILED;
    (void)list_fees(listing, named, places);
    enum store_result result = store_unknown_codes(change->pg, change->scratch, named, count, &unknown);
    if (result != STORE_OK)
        return result;
    for (size_t i = 0; i < unknown.participant_count; i++) {
        size_t at = (size_t)unknown.participants[i];
        if (!is_named(change, REFERENCE_PARTICIPANT, named[at].participant))
            blame_unknown(change, listing, &places[at], REASON_PARTICIPANT_UNKNOWN, "/participant");
    }
    for (size_t i = 0; i < unknown.cup_type_count; i++) {
        size_t at = (size_t)unknown.cup_types[i];
        if (!is_named(change, REFERENCE_CUP_TYPE, named[at].cup_type))
            blame_unknown(change, listing, &places[at], REASON_CUP_TYPE_UNKNOWN, "/cup_type");
    }
    return STORE_OK;
}

static enum store_result check_fees_of(struct change *change, const struct listing *listing, size_t i,
                                       int decimals)
{
    const struct reference_list *fees = &((const struct terms_row *)listing->rows[i].row)->fees;
    const struct fee_row_row *rows = fees->items;
    if (fees->count == 0)
        return STORE_OK;
    check_row(change, listing, i);
    for (size_t k = 0; k < fees->count; k++)
        check_fee_row(change, &rows[k], k, decimals);
    return listing->rows[i].is_faulty ? STORE_OK : check_fee_repeats(change, fees);
}

enum store_result check_fees(struct change *change, const struct listing *listing,
                             const struct dating_facts *facts)
{
    size_t count = list_fees(listing, NULL, NULL);
    enum store_result result = count > 0 ? check_named(change, listing, count) : STORE_OK;
    for (size_t i = 0; result == STORE_OK && i < listing->count; i++)
        if (facts[i].scheme_known || listing->rows[i].in_scheme)
            result = check_fees_of(change, listing, i, facts[i].decimals);
    change->place[0] = '\0';
    change->row_is_faulty = false;
    return result;
}

/* ---- dated values of participants and sites ---- */

/* Says if there is nothing to put the value under. `code` is that of the participant, or of the site. */
static void check_owner(struct change *change, bool of_site, const char *code,
                        const struct starting_facts *facts)
{
    if (facts->known || is_named(change, of_site ? REFERENCE_SITE : REFERENCE_PARTICIPANT, code))
        return;
    if (change->document == NULL)
        faults_add(change->faults, REASON_NOT_FOUND, NULL, "there is no such %s",
                   of_site ? "site" : "participant");
    else if (of_site)
        blame(change, REASON_SITE_UNKNOWN, "/site", "is not known");
    else
        blame(change, REASON_PARTICIPANT_UNKNOWN, "/participant", "is not known");
}

static enum store_result put_starting(struct change *change, const struct listing *listing,
                                      const struct starting_value *values, bool of_site,
                                      reference_put_items *put)
{
    struct outcome outcome;
    struct starting_facts *facts = facts_for(change, listing, sizeof *facts);
    if (facts == NULL || values == NULL)
        return STORE_FAILED;
    enum store_result result = store_starting_facts(change->pg, values, listing->count, facts);
    for (size_t i = 0; result == STORE_OK && i < listing->count; i++) {
        size_t faults_before = faults_found(change->faults);
        check_row(change, listing, i);
        check_owner(change, of_site, of_site ? values[i].site : values[i].participant, &facts[i]);
        end_row(change, listing, i, faults_before);
    }
    if (result == STORE_OK)
        result = put_rows(change, listing, NULL, put, &outcome);
    for (size_t k = 0; result == STORE_OK && k < outcome.count; k++) {
        check_row(change, listing, outcome.differing[k]);
        if (facts[outcome.differing[k]].has_begun)
            blame_too_soon(change);
    }
    change->place[0] = '\0';
    return result;
}

enum store_result put_tax_registrations(struct change *change, const struct listing *listing)
{
    struct starting_value *values = arena_array(change->scratch, listing->count, sizeof *values);
    for (size_t i = 0; values != NULL && i < listing->count; i++) {
        const struct tax_registration_row *row = listing->rows[i].row;
        memcpy(values[i].participant, row->participant, CODE_SIZE);
        values[i].effective_date = row->effective_date;
    }
    return put_starting(change, listing, values, false, store_put_tax_registrations);
}

enum store_result put_site_kinds(struct change *change, const struct listing *listing)
{
    struct starting_value *values = arena_array(change->scratch, listing->count, sizeof *values);
    for (size_t i = 0; values != NULL && i < listing->count; i++) {
        const struct site_kind_row *row = listing->rows[i].row;
        memcpy(values[i].site, row->site, CODE_SIZE);
        values[i].effective_date = row->effective_date;
    }
    return put_starting(change, listing, values, true, store_put_site_kinds);
}
