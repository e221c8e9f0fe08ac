/* SPDX-License-Identifier: ISC */
/* A ladder over the members of an agreement. The rules about when it may start, and about who signs, hold
 * only where it makes a difference. */
#include "app/network/agreements.h"

#include "store/agreement_store.h"

#include <stdio.h>
#include <string.h>

/* Whether both schemes are there to agree. */
static bool check_parties(struct change *change, const struct agreement_row *row,
                          const struct agreement_facts *facts)
{
    bool both = facts->home.currency != NULL && facts->host.currency != NULL;
    bool is_one = strcmp(row->home, row->host) == 0;
    if (!both && change->document == NULL)
        faults_add(change->faults, REASON_NOT_FOUND, NULL, "there is no such scheme");
    if (facts->home.currency == NULL && change->document != NULL)
        blame(change, REASON_SCHEME_UNKNOWN, "/home", "is not known");
    if (facts->host.currency == NULL && change->document != NULL)
        blame(change, REASON_SCHEME_UNKNOWN, "/host", "is not known");
    if (both && is_one)
        blame_name(change, REASON_VALUE_UNKNOWN, "/host",
                   "is the home itself: an agreement is between two schemes");
    return both && !is_one;
}

static void check_rate(struct change *change, const struct agreement_row *row,
                       const struct agreement_facts *facts, struct exchange_rate *rate)
{
    if (!exchange_rate_parse(row->rate, strlen(row->rate), rate))
        blame(change, REASON_BAD_FORMAT, "/rate",
              "must be a decimal number above zero and below 9223372, with at most 12 decimals");
    else if (strcmp(facts->home.currency, facts->host.currency) == 0 && rate->e12 != EXCHANGE_RATE_ONE.e12)
        blame(change, REASON_OUT_OF_RANGE, "/rate", "must be 1: both schemes have the same currency");
}

static void check_values(struct change *change, const struct agreement_row *row, int decimals,
                         const struct agreement_facts *facts)
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
    for (size_t i = 0; i < facts->unknown_cup_type_count; i++)
        blame_element(change, REASON_CUP_TYPE_UNKNOWN, "values", (size_t)facts->unknown_cup_types[i],
                      "/cup_type", "is not known");
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

enum store_result put_agreement(struct change *change, const void *given)
{
    const struct agreement_row *row = given;
    size_t faults_before = change->faults->count;
    struct agreement_facts facts;
    struct agreement_signed as_signed = {.rate = EXCHANGE_RATE_ONE};
    bool differs = false;
    enum store_result result = store_agreement_facts(change->pg, change->arena, row, &facts);
    if (result != STORE_OK || !check_parties(change, row, &facts))
        return result;
    as_signed.in_host_currency = strcmp(row->currency, facts.host.currency) == 0;
    bool is_of_pair = as_signed.in_host_currency || strcmp(row->currency, facts.home.currency) == 0;
    if (!is_of_pair)
        blame(change, REASON_CURRENCY_UNKNOWN, "/currency", "is the currency of neither scheme");
    check_rate(change, row, &facts, &as_signed.rate);
    check_values(change, row,
                 !is_of_pair                  ? DECIMALS_UNKNOWN
                 : as_signed.in_host_currency ? facts.host.decimals
                                              : facts.home.decimals,
                 &facts);
    check_signs_for(change, row);
    if (change->faults->count > faults_before)
        return STORE_OK; /* nothing in a document refers to an agreement, so it need not be put */
    bool for_home = strcmp(row->signs_for, row->home) == 0;
    as_signed.home_signed_by = for_home ? change->proposed_by : change->approved_by;
    as_signed.host_signed_by = for_home ? change->approved_by : change->proposed_by;
    result = store_put_agreement(change->pg, row, &as_signed, &differs);
    if (result != STORE_OK || !differs)
        return result;
    change->made_difference = true;
    check_difference(change, row, &facts);
    return STORE_OK;
}
