/* SPDX-License-Identifier: ISC */
/* The rules for the things of a network: cup types, participants, schemes and sites. A ladder for each kind.
 * Most rules look only at the input, and some at facts that are read under the lock. */
#include "app/network/reference_things.h"

#include "depositd/identifier.h"
#include "payment/iban.h"
#include "payment/latin.h"

#include <stdio.h>
#include <string.h>

/* ---- rules over the input alone ---- */

/* A payment message contains this text unchanged. To convert it to the bank's characters would make it name
 * something else. */
static void check_reference(struct change *change, const char *member, const char *text)
{
    if (text != NULL && !latin_reference_valid(text, strlen(text)))
        blame(
            change, REASON_BAD_FORMAT, member,
            "has characters that no payment message may carry, a space or a slash at an end, or two slashes");
}

static void blame_account(struct change *change, const char *place, enum reason reason, const char *name,
                          const char *detail)
{
    char member[PLACE_MAX];
    snprintf(member, sizeof member, "%s/bank_account/%s", place, name);
    blame(change, reason, member, detail);
}

static void check_account_reference(struct change *change, const char *place, const char *name,
                                    const char *text)
{
    char member[PLACE_MAX];
    snprintf(member, sizeof member, "%s/bank_account/%s", place, name);
    check_reference(change, member, text);
}

/* An account has an IBAN, or else a number and the code of its bank. */
static void check_account_members(struct change *change, const char *place, const struct bank_account *given)
{
    bool has_number = given->account != NULL, has_code = given->bank_code != NULL;
    if (given->iban != NULL && (has_number || has_code))
        blame_account(change, place, REASON_MEMBER_UNKNOWN, has_number ? "account" : "bank_code",
                      "is not known beside an iban");
    if (given->iban == NULL && !has_number && !has_code)
        blame_account(change, place, REASON_MEMBER_MISSING, "iban", "give an iban, or account and bank_code");
    if (given->iban == NULL && has_number != has_code)
        blame_account(change, place, REASON_MEMBER_MISSING, has_number ? "bank_code" : "account",
                      "account and bank_code go together");
}

/* `place` is the position in the row of the object that has the bank_account: "" for the row itself. */
static void check_bank_account(struct change *change, const char *place, const struct bank_account *given)
{
    enum iban_result checked = given->iban != NULL ? iban_check(given->iban) : IBAN_OK;
    if (checked != IBAN_OK)
        blame_account(change, place, REASON_BAD_FORMAT, "iban", iban_detail(checked));
    if (!change->row_is_faulty)
        check_account_members(change, place, given);
    check_account_reference(change, place, "account", given->account);
    check_account_reference(change, place, "bank_code", given->bank_code);
}

static void check_bic(struct change *change, const char *member, const char *bic)
{
    if (bic != NULL && !bic_valid(bic))
        blame(change, REASON_BAD_FORMAT, member, "is no BIC: 8 or 11 capitals and digits");
}

static void check_par_stock(struct change *change, const struct reference_list *list)
{
    const struct par_stock_row *rows = list->items;
    for (size_t i = 0; i < list->count; i++)
        for (size_t before = 0; before < i; before++)
            if (rows[i].cup_type[0] != '\0' && strcmp(rows[i].cup_type, rows[before].cup_type) == 0) {
                blame_element(change, REASON_CUP_TYPE_REPEATED, "par_stock", i, "/cup_type",
                              "stands in the list before");
                break;
            }
}

/* ---- cup types ---- */

enum store_result put_cup_types(struct change *change, const struct listing *listing)
{
    struct outcome outcome;
    for (size_t i = 0; i < listing->count; i++) {
        const struct cup_type_row *row = listing->rows[i].row;
        size_t faults_before = faults_found(change->faults);
        check_row(change, listing, i);
        if (row->grai != NULL && !grai_valid(row->grai))
            blame(change, REASON_BAD_FORMAT, "/grai",
                  "is no GRAI: 14 digits that begin with 0, and a serial or none");
        end_row(change, listing, i, faults_before);
    }
    return put_rows(change, listing, NULL, store_put_cup_types, &outcome);
}

/* ---- participants ---- */

static void check_participant(struct change *change, const struct participant_row *row,
                              const struct registration_facts *facts)
{
    if (row->has_bank_account)
        check_bank_account(change, "", &row->bank_account);
    check_bic(change, "/bic", row->bic);
    if (row->has_mandate)
        check_reference(change, "/mandate/id", row->mandate.id);
    if (strcmp(row->participant, "pool") == 0)
        blame_name(change, REASON_VALUE_UNKNOWN, "/participant",
                   "is the operator's name as a party to payments");
    if (facts->fixed)
        blame(change, REASON_FIXED_ONCE_POSTED, "/tax_registered",
              "is the first value, and fees depend on it: PUT "
              "/v1/participants/{participant}/tax-registration/{effective_date} gives a later one");
}

/* A registration that changes depends on what its sites have not posted. */
static bool registration_changes(const struct registration_facts *facts, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (facts[i].changes)
            return true;
    return false;
}

static enum store_result read_registrations(struct change *change, const struct listing *listing,
                                            struct registration_facts *facts)
{
    struct reference_items items;
    if (facts == NULL || !list_items(change, listing, &items))
        return STORE_FAILED;
    enum store_result result = store_registration_facts(change->pg, change->scratch, items, facts);
    if (result != STORE_OK || change->holds_heads || !registration_changes(facts, listing->count))
        return result;
    result = hold_heads(change);
    return result == STORE_OK ? store_registration_facts(change->pg, change->scratch, items, facts) : result;
}

enum store_result put_participants(struct change *change, const struct listing *listing)
{
    struct outcome outcome;
    struct registration_facts *facts = facts_for(change, listing, sizeof *facts);
    enum store_result result = read_registrations(change, listing, facts);
    if (result != STORE_OK)
        return result;
    for (size_t i = 0; i < listing->count; i++) {
        size_t faults_before = faults_found(change->faults);
        check_row(change, listing, i);
        check_participant(change, listing->rows[i].row, &facts[i]);
        end_row(change, listing, i, faults_before);
    }
    return put_rows(change, listing, NULL, store_put_participants, &outcome);
}

/* ---- schemes ---- */

static void check_scheme(struct change *change, const struct scheme_row *row, const struct currency *currency,
                         const struct scheme_facts *facts)
{
    static const char fixed[] = "can't change any more";
    if (currency == NULL)
        blame(change, REASON_CURRENCY_UNKNOWN, "/currency", "is no currency of ISO 4217");
    if (!facts->time_zone_known)
        blame(change, REASON_TIME_ZONE_UNKNOWN, "/time_zone", "is no IANA time zone that the database knows");
    if (row->has_variance_limit)
        check_amount(change, "/variance_limit", row->variance_limit,
                     currency != NULL ? currency->decimals : DECIMALS_UNKNOWN);
    if (row->has_operator) {
        check_bank_account(change, "/operator", &row->operator.bank_account);
        check_bic(change, "/operator/bic", row->operator.bic);
        check_reference(change, "/operator/creditor_id", row->operator.creditor_id);
    }
    if (facts->shares_bank_account)
        blame(change, REASON_BANK_ACCOUNT_SHARED, "/operator/bank_account",
              "is another scheme's: a bank account serves one scheme");
    if (currency != NULL && facts->decimals_in_use >= 0 && currency->decimals != facts->decimals_in_use)
        blame(change, REASON_AMOUNT_DECIMALS, "/currency",
              "has other decimals than the scheme's terms and refund values");
    if (facts->ends_too_soon)
        blame(change, REASON_STARTS_TOO_SOON, "/closed_on", "must end more than 5 minutes from now");
    if (!facts->posted_or_closed)
        return;
    if (facts->currency_changes)
        blame(change, REASON_FIXED_ONCE_POSTED, "/currency", fixed);
    if (facts->time_zone_changes)
        blame(change, REASON_FIXED_ONCE_POSTED, "/time_zone", fixed);
    if (facts->cut_off_changes)
        blame(change, REASON_FIXED_ONCE_POSTED, "/cut_off", fixed);
    if (facts->stock_terms_changes)
        blame(change, REASON_FIXED_ONCE_POSTED, "/stock_terms", fixed);
}

/* A scheme whose calendar changes has no days that anybody used: they are made anew. */
static enum store_result forget_days(struct change *change, const struct listing *listing,
                                     const struct scheme_facts *facts)
{
    size_t count = 0;
    const char **schemes = arena_array(change->scratch, listing->count, sizeof *schemes);
    if (schemes == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < listing->count; i++)
        if (!listing->rows[i].left_out && (facts[i].time_zone_changes || facts[i].cut_off_changes))
            schemes[count++] = ((const struct scheme_row *)listing->rows[i].row)->scheme;
    return count > 0 ? store_forget_days(change->pg, schemes, count) : STORE_OK;
}

enum store_result put_schemes(struct change *change, const struct listing *listing)
{
    struct outcome outcome;
    struct reference_items items;
    struct scheme_facts *facts = facts_for(change, listing, sizeof *facts);
    if (facts == NULL || !list_items(change, listing, &items))
        return STORE_FAILED;
    enum store_result result = store_scheme_facts(change->pg, change->scratch, items, facts);
    if (result != STORE_OK)
        return result;
    for (size_t i = 0; i < listing->count; i++) {
        const struct scheme_row *row = listing->rows[i].row;
        size_t faults_before = faults_found(change->faults);
        check_row(change, listing, i);
        check_scheme(change, row, row->currency != NULL ? currency_find(row->currency) : NULL, &facts[i]);
        end_row(change, listing, i, faults_before);
    }
    result = put_rows(change, listing, NULL, store_put_schemes, &outcome);
    if (result == STORE_OK)
        result = forget_days(change, listing, facts);
    return result == STORE_OK ? store_add_heads(change->pg, change->version) : result;
}

/* ---- sites ---- */

static void check_site(struct change *change, const struct site_row *row, const struct site_facts *facts)
{
    static const char fixed[] = "can't change any more: a site that is sold gets a new code";
    if (!facts->scheme_known && !is_named(change, REFERENCE_SCHEME, row->scheme))
        blame(change, REASON_SCHEME_UNKNOWN, "/scheme", "is not known");
    if (!facts->participant_known && !is_named(change, REFERENCE_PARTICIPANT, row->participant))
        blame(change, REASON_PARTICIPANT_UNKNOWN, "/participant", "is not known");
    if (facts->posted && facts->scheme_changes)
        blame(change, REASON_FIXED_ONCE_POSTED, "/scheme", fixed);
    if (facts->posted && facts->participant_changes)
        blame(change, REASON_FIXED_ONCE_POSTED, "/participant", fixed);
    if (facts->kind_fixed)
        blame(change, REASON_FIXED_ONCE_POSTED, "/kind",
              "is the first value, and fees may depend on it: PUT /v1/sites/{site}/kind/{effective_date} "
              "gives a "
              "later one");
    if (!change->row_is_faulty && row->has_closed_on && row->closed_on.days < row->opened_on.days)
        blame(change, REASON_OUT_OF_RANGE, "/closed_on", "lies before opened_on");
    if (row->gln != NULL && !gln_valid(row->gln))
        blame(change, REASON_BAD_FORMAT, "/gln", "is no GLN: 13 digits, of which the last checks the others");
    check_par_stock(change, &row->par_stock);
}

/* A site that moves, or whose kind changes, depends on what it has not posted. */
static bool site_changes(const struct site_facts *facts, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (facts[i].scheme_changes || facts[i].participant_changes || facts[i].kind_changes)
            return true;
    return false;
}

static enum store_result read_sites(struct change *change, const struct listing *listing,
                                    struct site_facts *facts)
{
    struct reference_items items;
    if (facts == NULL || !list_items(change, listing, &items))
        return STORE_FAILED;
    enum store_result result = store_site_facts(change->pg, change->scratch, items, facts);
    if (result != STORE_OK || change->holds_heads || !site_changes(facts, listing->count))
        return result;
    result = hold_heads(change);
    return result == STORE_OK ? store_site_facts(change->pg, change->scratch, items, facts) : result;
}

/* Which site and which element of its par stock names a cup type. */
struct stock_place {
    size_t site, element;
};

static size_t list_stock(const struct listing *listing, struct named_codes *named, struct stock_place *places)
{
    size_t count = 0;
    for (size_t i = 0; i < listing->count; i++) {
        const struct site_row *row = listing->rows[i].row;
        for (size_t k = 0; k < row->par_stock.count; k++, count++)
            if (named != NULL && places != NULL) {
                const struct par_stock_row *stock = row->par_stock.items;
                memcpy(named[count].cup_type, stock[k].cup_type, CODE_SIZE);
                places[count] = (struct stock_place){i, k};
            }
    }
    return count;
}

/* Blames the par stock of cup types that are not known. */
static enum store_result check_stock(struct change *change, const struct listing *listing)
{
    struct unknown_codes unknown;
    size_t count = list_stock(listing, NULL, NULL);
    if (count == 0)
        return STORE_OK;
    struct named_codes *named = arena_array(change->scratch, count, sizeof *named);
    struct stock_place *places = arena_array(change->scratch, count, sizeof *places);
    if (named == NULL || places == NULL)
        return STORE_FAILED;
    (void)list_stock(listing, named, places);
    enum store_result result = store_unknown_codes(change->pg, change->scratch, named, count, &unknown);
    for (size_t i = 0; result == STORE_OK && i < unknown.cup_type_count; i++) {
        size_t at = (size_t)unknown.cup_types[i], faults_before = faults_found(change->faults);
        if (is_named(change, REFERENCE_CUP_TYPE, named[at].cup_type))
            continue;
        check_row(change, listing, places[at].site);
        blame_element(change, REASON_CUP_TYPE_UNKNOWN, "par_stock", places[at].element, "/cup_type",
                      "is not known");
        end_row(change, listing, places[at].site, faults_before);
    }
    return result;
}

enum store_result put_sites(struct change *change, const struct listing *listing)
{
    struct outcome outcome;
    struct site_facts *facts = facts_for(change, listing, sizeof *facts);
    enum store_result result = read_sites(change, listing, facts);
    if (result != STORE_OK)
        return result;
    for (size_t i = 0; i < listing->count; i++) {
        size_t faults_before = faults_found(change->faults);
        check_row(change, listing, i);
        check_site(change, listing->rows[i].row, &facts[i]);
        end_row(change, listing, i, faults_before);
    }
    result = check_stock(change, listing);
    return result == STORE_OK ? put_rows(change, listing, NULL, store_put_sites, &outcome) : result;
}
