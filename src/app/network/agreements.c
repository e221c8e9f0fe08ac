/* SPDX-License-Identifier: ISC */
/* A ladder over the members of an agreement. The rules about when it may start, and about who signs, hold
 * only where it makes a difference. */
#include "app/network/agreements.h"

#include "store/agreement_store.h"

#include <stdio.h>
#include <string.h>

/* Whether both schemes are known. */
static bool has_parties(const struct agreement_facts *facts)
{
    return facts->home.currency != NULL && facts->host.currency != NULL;
}

static void check_scheme_of(struct change *change, const struct agreement_party *party, const char *code,
                            const char *member)
{
    if (party->currency == NULL && !is_named(change, REFERENCE_SCHEME, code))
        blame(change, REASON_SCHEME_UNKNOWN, member, "is not known");
}

/* Whether both schemes are there to agree. */
static bool check_parties(struct change *change, const struct agreement_row *row,
                          const struct agreement_facts *facts)
{
    bool both = has_parties(facts);
    if (!both && change->document == NULL) {
        faults_add(change->faults, REASON_NOT_FOUND, NULL, "there is no such scheme");
    } else {
        check_scheme_of(change, &facts->home, row->home, "/home");
        check_scheme_of(change, &facts->host, row->host, "/host");
    }
    bool is_one = both && strcmp(row->home, row->host) == 0;
    if (is_one)
        blame_name(change, REASON_VALUE_UNKNOWN, "/host",
                   "is the home itself: an agreement is between two schemes");
    return both && !is_one;
}

/* The decimals of the amounts; DECIMALS_UNKNOWN: the currency is neither scheme's. */
static int check_currency(struct change *change, const struct agreement_row *row,
                          const struct agreement_facts *facts, bool *in_host_currency)
{
    if (row->currency == NULL)
        return DECIMALS_UNKNOWN;
    *in_host_currency = strcmp(row->currency, facts->host.currency) == 0;
    if (*in_host_currency)
        return facts->host.decimals;
    if (strcmp(row->currency, facts->home.currency) == 0)
        return facts->home.decimals;
    blame(change, REASON_CURRENCY_UNKNOWN, "/currency", "is the currency of neither scheme");
    return DECIMALS_UNKNOWN;
}

static void check_rate(struct change *change, const struct agreement_row *row,
                       const struct agreement_facts *facts, struct exchange_rate *rate)
{
    if (row->rate == NULL)
        return;
    if (!exchange_rate_parse(row->rate, strlen(row->rate), rate))
        blame(change, REASON_BAD_FORMAT, "/rate",
              "must be a decimal number above zero and below 9223372, with at most 12 decimals");
    else if (strcmp(facts->home.currency, facts->host.currency) == 0 && rate->e12 != EXCHANGE_RATE_ONE.e12)
        blame(change, REASON_OUT_OF_RANGE, "/rate", "must be 1: both schemes have the same currency");
}

static void check_values(struct change *change, const struct agreement_row *row, int decimals)
{
    const struct agreement_value_row *values = row->values.items;
    for (size_t i = 0; i < row->values.count; i++) {
        char member[PLACE_MAX];
        snprintf(member, sizeof member, "/values/%zu/amount", i);
        check_amount(change, member, values[i].amount, decimals);
        for (size_t before = 0; before < i; before++)
            if (strcmp(values[i].cup_type, values[before].cup_type) == 0) {
                blame_element(change, REASON_CUP_TYPE_REPEATED, "values", i, "/cup_type",
                              "stands in the list before");
                break;
            }
    }
}

static void check_signs_for(struct change *change, const struct agreement_row *row)
{
    if (*row->signs_for != '\0' && strcmp(row->signs_for, row->home) != 0 &&
        strcmp(row->signs_for, row->host) != 0)
        blame(change, REASON_VALUE_UNKNOWN, "/signs_for", "is neither of the two schemes");
}

/* A difference needs signatures, and time. */
static void check_difference(struct change *change, const struct agreement_row *row,
                             const struct agreement_facts *facts)
{
    if (*row->signs_for == '\0')
        blame(
            change, REASON_MEMBER_MISSING, "/signs_for",
            "is missing: say for which of the two schemes you sign; another person signs for the other one");
    if (facts->other_currency != NULL && strcmp(facts->other_currency, row->currency) != 0)
        blame(change, REASON_FIXED_ONCE_POSTED, "/currency",
              "is not that of the other agreements between the two schemes");
    if (facts->posted_or_closed && !facts->starts_in_time)
        blame_too_soon(change);
}

/* Without its two schemes there is nothing that an agreement could be measured by. */
static void check_agreement(struct change *change, const struct agreement_row *row,
                            const struct agreement_facts *facts, struct signed_agreement *as_signed)
{
    bool for_home = strcmp(row->signs_for, row->home) == 0;
    *as_signed =
        (struct signed_agreement){.row = *row,
                                  .rate = EXCHANGE_RATE_ONE,
                                  .home_signed_by = for_home ? change->proposed_by : change->approved_by,
                                  .host_signed_by = for_home ? change->approved_by : change->proposed_by};
    if (!check_parties(change, row, facts))
        return;
    int decimals = check_currency(change, row, facts, &as_signed->in_host_currency);
    check_rate(change, row, facts, &as_signed->rate);
    check_values(change, row, decimals);
    check_signs_for(change, row);
}

/* Which agreement and which of its values names a cup type. */
struct value_place {
    size_t agreement, element;
};

static size_t list_cup_types(const struct listing *listing, struct named_codes *named,
                             struct value_place *places)
{
    size_t count = 0;
    for (size_t i = 0; i < listing->count; i++) {
        const struct agreement_row *row = listing->rows[i].row;
        const struct agreement_value_row *values = row->values.items;
        for (size_t k = 0; k < row->values.count; k++, count++)
            if (named != NULL && places != NULL) {
                memcpy(named[count].cup_type, values[k].cup_type, CODE_SIZE);
                places[count] = (struct value_place){i, k};
            }
    }
    return count;
}

/* Blames values of cup types that are not known. */
static enum store_result check_cup_types(struct change *change, const struct listing *listing,
                                         const struct agreement_facts *facts)
{
    struct unknown_codes unknown;
    size_t count = list_cup_types(listing, NULL, NULL);
    if (count == 0)
        return STORE_OK;
    struct named_codes *named = arena_array(change->scratch, count, sizeof *named);
    struct value_place *places = arena_array(change->scratch, count, sizeof *places);
    if (named == NULL || places == NULL)
        return STORE_FAILED;
    (void)list_cup_types(listing, named, places);
    enum store_result result = store_unknown_codes(change->pg, change->scratch, named, count, &unknown);
    for (size_t i = 0; result == STORE_OK && i < unknown.cup_type_count; i++) {
        size_t at = (size_t)unknown.cup_types[i], faults_before = faults_found(change->faults);
        if (!has_parties(&facts[places[at].agreement]) ||
            is_named(change, REFERENCE_CUP_TYPE, named[at].cup_type))
            continue;
        check_row(change, listing, places[at].agreement);
        blame_element(change, REASON_CUP_TYPE_UNKNOWN, "values", places[at].element, "/cup_type",
                      "is not known");
        end_row(change, listing, places[at].agreement, faults_before);
    }
    return result;
}

/* Puts the rows as they are signed, and checks those that differ from what was there. */
static enum store_result put_signed(struct change *change, const struct listing *listing,
                                    const struct agreement_facts *facts,
                                    const struct signed_agreement *as_signed)
{
    struct outcome outcome;
    struct listing signed_listing = {listing->kind, NULL, listing->count};
    signed_listing.rows = arena_array(change->scratch, listing->count, sizeof *signed_listing.rows);
    if (signed_listing.rows == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < listing->count; i++) {
        signed_listing.rows[i] = listing->rows[i];
        signed_listing.rows[i].row = &as_signed[i];
        signed_listing.rows[i].left_out = listing->rows[i].left_out || !has_parties(&facts[i]);
    }
    enum store_result result = put_rows(change, &signed_listing, NULL, store_put_agreements, &outcome);
    for (size_t k = 0; result == STORE_OK && k < outcome.count; k++) {
        size_t i = outcome.differing[k];
        check_row(change, listing, i);
        check_difference(change, &as_signed[i].row, &facts[i]);
    }
    change->place[0] = '\0';
    return result;
}

enum store_result put_agreements(struct change *change, const struct listing *listing)
{
    struct reference_items items;
    struct agreement_facts *facts = facts_for(change, listing, sizeof *facts);
    struct signed_agreement *as_signed = facts_for(change, listing, sizeof *as_signed);
    if (facts == NULL || as_signed == NULL || !list_items(change, listing, &items))
        return STORE_FAILED;
    enum store_result result = store_agreement_facts(change->pg, change->scratch, items, facts);
    for (size_t i = 0; result == STORE_OK && i < listing->count; i++) {
        size_t faults_before = faults_found(change->faults);
        check_row(change, listing, i);
        check_agreement(change, listing->rows[i].row, &facts[i], &as_signed[i]);
        end_row(change, listing, i, faults_before);
    }
    if (result == STORE_OK)
        result = check_cup_types(change, listing, facts);
    return result == STORE_OK ? put_signed(change, listing, facts, as_signed) : result;
}
