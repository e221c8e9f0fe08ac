/* SPDX-License-Identifier: ISC */
/* The rules for what a scheme has from a business day on: terms, refund values, and the codes of the office's
 * ledger. */
#include "app/network/reference_dated.h"

#include "app/network/office_accounts.h"
#include "app/network/reference_fees.h"

#include <string.h>

/* The facts of each row. `cup_type` tells which it has; NULL: rows of the kind have none. */
static struct dating_facts *read_facts(struct change *change, const struct listing *listing,
                                       const char *(*cup_type)(const void *row),
                                       struct date (*date)(const void *row), enum store_result *result)
{
    struct dating_facts *facts = facts_for(change, listing, sizeof *facts);
    struct dated_value *values = arena_array(change->scratch, listing->count, sizeof *values);
    *result = STORE_FAILED;
    if (facts == NULL || values == NULL)
        return NULL;
    for (size_t i = 0; i < listing->count; i++)
        values[i] = (struct dated_value){listing->rows[i].scheme,
                                         cup_type != NULL ? cup_type(listing->rows[i].row) : "",
                                         date(listing->rows[i].row)};
    *result = store_dating_facts(change->pg, values, listing->count, facts);
    return facts;
}

/* Begins the checks of a row, and says if what it names is not known. */
static void begin_row(struct change *change, const struct listing *listing, size_t i, const char *cup_type,
                      struct dating_facts *facts)
{
    const struct listed *listed = &listing->rows[i];
    check_row(change, listing, i);
    if (listed->in_scheme)
        facts->decimals = listed->decimals;
    else if (!facts->scheme_known)
        faults_add(change->faults, REASON_NOT_FOUND, NULL, "there is no such scheme");
    if (cup_type != NULL && !facts->cup_type_known && !is_named(change, REFERENCE_CUP_TYPE, cup_type))
        blame_name(change, REASON_CUP_TYPE_UNKNOWN, "/cup_type", "is not known");
}

/* A row has amounts to be checked if its scheme is known or stands around it. A row is put if its scheme and
 * cup type are: a row with another fault as well, which shows whether it starts in time. */
static void end_dated(struct change *change, const struct listing *listing, size_t i)
{
    struct listed *listed = &listing->rows[i];
    if (listed->is_faulty || (listed->in_scheme && listed->scheme_is_faulty))
        listed->left_out = true;
    change->place[0] = '\0';
    change->row_is_faulty = false;
}

/* ---- terms ---- */

static struct date terms_date(const void *row)
{
    return ((const struct terms_row *)row)->effective_date;
}

static void check_terms(struct change *change, const struct terms_row *row, int decimals)
{
    check_amount(change, "/minimum_payment", row->minimum_payment, decimals);
    check_amount(change, "/service_fee", row->service_fee, decimals);
    check_amount(change, "/handling_fee", row->handling_fee, decimals);
    if (row->has_monthly_fee)
        check_amount(change, "/monthly_fee", row->monthly_fee, decimals);
}

/* Terms of a new start: they differ from what was there. Notes a scheme whose days they make anew. */
static void check_start(struct change *change, const struct dating_facts *facts, const char *scheme,
                        const char **anew, size_t *anew_count)
{
    if (facts->too_long_ago)
        blame_name(change, REASON_OUT_OF_RANGE, "/effective_date", "lies more than 10000 days back");
    else if ((facts->posted && !facts->starts_in_time) ||
             (facts->before_the_days_made && facts->posted_or_closed))
        blame_too_soon(change);
    else if (facts->before_the_days_made)
        anew[(*anew_count)++] = scheme;
}

static enum store_result check_starts(struct change *change, const struct listing *listing,
                                      const struct dating_facts *facts, const struct outcome *outcome)
{
    size_t anew_count = 0;
    const char **anew = arena_array(change->scratch, listing->count, sizeof *anew);
    if (anew == NULL)
        return STORE_FAILED;
    for (size_t k = 0; k < outcome->count; k++) {
        size_t i = outcome->differing[k];
        check_row(change, listing, i);
        check_start(change, &facts[i], listing->rows[i].scheme, anew, &anew_count);
    }
    change->place[0] = '\0';
    return anew_count > 0 ? store_forget_days(change->pg, anew, anew_count) : STORE_OK;
}

enum store_result put_terms(struct change *change, const struct listing *listing)
{
    struct outcome outcome;
    enum store_result result;
    struct dating_facts *facts = read_facts(change, listing, NULL, terms_date, &result);
    for (size_t i = 0; result == STORE_OK && i < listing->count; i++) {
        begin_row(change, listing, i, NULL, &facts[i]);
        if (facts[i].scheme_known || listing->rows[i].in_scheme)
            check_terms(change, listing->rows[i].row, facts[i].decimals);
        end_dated(change, listing, i);
    }
    if (result == STORE_OK)
        result = check_fees(change, listing, facts);
    if (result == STORE_OK)
        result = put_rows(change, listing, NULL, store_put_terms, &outcome);
    return result == STORE_OK ? check_starts(change, listing, facts, &outcome) : result;
}

/* ---- refund values ---- */

static struct date value_date(const void *row)
{
    return ((const struct refund_value_row *)row)->effective_date;
}

static const char *value_cup_type(const void *row)
{
    return ((const struct refund_value_row *)row)->cup_type;
}

/* A first value may start on a day that has begun, as long as the day is not cut. */
static bool depends_on_cuts(const struct dating_facts *facts, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (facts[i].posted && !facts[i].starts_in_time && facts[i].first_of_open_day)
            return true;
    return false;
}

enum store_result put_refund_values(struct change *change, const struct listing *listing)
{
    struct outcome outcome;
    enum store_result result;
    struct dating_facts *facts = read_facts(change, listing, value_cup_type, value_date, &result);
    if (result == STORE_OK && !change->holds_heads && depends_on_cuts(facts, listing->count)) {
        result = hold_heads(change);
        if (result == STORE_OK)
            facts = read_facts(change, listing, value_cup_type, value_date, &result);
    }
    for (size_t i = 0; result == STORE_OK && i < listing->count; i++) {
        const struct refund_value_row *row = listing->rows[i].row;
        begin_row(change, listing, i, row->cup_type, &facts[i]);
        if (facts[i].scheme_known || listing->rows[i].in_scheme)
            check_amount(change, "/amount", row->amount, facts[i].decimals);
        end_dated(change, listing, i);
    }
    if (result == STORE_OK)
        result = put_rows(change, listing, NULL, store_put_refund_values, &outcome);
    for (size_t k = 0; result == STORE_OK && k < outcome.count; k++) {
        const struct dating_facts *of_row = &facts[outcome.differing[k]];
        check_row(change, listing, outcome.differing[k]);
        if (of_row->posted && !of_row->starts_in_time && !of_row->first_of_open_day)
            blame_too_soon(change);
    }
    change->place[0] = '\0';
    return result;
}

/* ---- the office's codes ---- */

static struct date office_date(const void *row)
{
    return ((const struct office_accounts_row *)row)->effective_date;
}

/* The numbers of each list's accounts, out of those of all. NULL: no memory. */
static const int64_t **split_numbers(struct change *change, const struct listing *listing,
                                     const int64_t *numbers)
{
    const int64_t **of_list = arena_array(change->scratch, listing->count, sizeof *of_list);
    for (size_t i = 0; of_list != NULL && i < listing->count; i++) {
        const struct office_accounts_row *row = listing->rows[i].row;
        of_list[i] = numbers;
        numbers += row->accounts.count;
    }
    return of_list;
}

static enum store_result check_office(struct change *change, const struct listing *listing, size_t i,
                                      const struct dating_facts *facts, const int64_t *numbers)
{
    size_t faults_before = faults_found(change->faults);
    struct listed *listed = &listing->rows[i];
    if (!facts->scheme_known) {
        listed->left_out = true; /* in a document, the scheme itself has a fault */
        if (change->document == NULL)
            faults_add(change->faults, REASON_NOT_FOUND, NULL, "there is no such scheme");
        return STORE_OK;
    }
    check_row(change, listing, i);
    if (!listed->is_faulty &&
        !office_accounts_check(listed->row, numbers, change->place, change->scratch, change->faults))
        return STORE_FAILED;
    end_row(change, listing, i, faults_before);
    return STORE_OK;
}

/* A list may also be set for days that are closed: it gives accounts other names, and changes no figure. */
enum store_result put_office_accounts(struct change *change, const struct listing *listing)
{
    struct outcome outcome;
    struct reference_items items;
    enum store_result result;
    int64_t *numbers = NULL;
    const int64_t **of_list = NULL;
    struct dating_facts *facts = read_facts(change, listing, NULL, office_date, &result);
    if (result == STORE_OK && !list_items(change, listing, &items))
        result = STORE_FAILED;
    if (result == STORE_OK)
        result = store_office_account_numbers(change->pg, change->scratch, items, &numbers);
    if (result == STORE_OK && (of_list = split_numbers(change, listing, numbers)) == NULL)
        result = STORE_FAILED;
    for (size_t i = 0; result == STORE_OK && i < listing->count; i++)
        result = check_office(change, listing, i, &facts[i], of_list[i]);
    return result == STORE_OK ? put_rows(change, listing, of_list, store_put_office_accounts, &outcome)
                              : result;
}
