/* SPDX-License-Identifier: ISC */
/* Each fault gets the pointer of the member that it is about. */
#include "app/network/reference_rules.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- rows ---- */

static const char *const list_names[REFERENCE_KINDS] = {
    [REFERENCE_CUP_TYPE] = "cup_types",
    [REFERENCE_PARTICIPANT] = "participants",
    [REFERENCE_SCHEME] = "schemes",
    [REFERENCE_TERMS] = "terms",
    [REFERENCE_REFUND_VALUE] = "refund_values",
    [REFERENCE_SITE] = "sites",
    [REFERENCE_OFFICE_ACCOUNTS] = "office_accounts",
    [REFERENCE_TAX_REGISTRATION] = "tax_registrations",
    [REFERENCE_SITE_KIND] = "site_kinds",
    [REFERENCE_AGREEMENT] = "agreements",
};

bool list_items(struct change *change, const struct listing *listing, struct reference_items *items)
{
    struct reference_item *listed = arena_array(change->scratch, listing->count, sizeof *listed);
    for (size_t i = 0; listed != NULL && i < listing->count; i++)
        listed[i] = (struct reference_item){.row = listing->rows[i].row, .scheme = listing->rows[i].scheme};
    *items = (struct reference_items){listed, listing->count};
    return listed != NULL;
}

void *facts_for(struct change *change, const struct listing *listing, size_t size)
{
    return arena_array(change->scratch, listing->count, size);
}

void check_row(struct change *change, const struct listing *listing, size_t i)
{
    const struct listed *listed = &listing->rows[i];
    const char *list = list_names[listing->kind];
    change->row_is_faulty = listed->is_faulty;
    if (change->document == NULL)
        change->place[0] = '\0';
    else if (listed->in_scheme)
        snprintf(change->place, sizeof change->place, "/schemes/%zu/%s/%zu", listed->outer, list,
                 listed->index);
    else
        snprintf(change->place, sizeof change->place, "/%s/%zu", list, listed->index);
}

void end_row(struct change *change, const struct listing *listing, size_t i, size_t faults_before)
{
    if (faults_found(change->faults) > faults_before)
        listing->rows[i].left_out = true;
    change->place[0] = '\0';
    change->row_is_faulty = false;
}

/* Lists the rows that are put, and the place of each in the listing. NULL: no memory. */
static size_t *list_kept(struct change *change, const struct listing *listing, const int64_t *const *numbers,
                         struct reference_items *items)
{
    struct reference_item *kept = arena_array(change->scratch, listing->count, sizeof *kept);
    size_t *places = arena_array(change->scratch, listing->count, sizeof *places);
    *items = (struct reference_items){kept, 0};
    if (kept == NULL || places == NULL)
        return NULL;
    for (size_t i = 0; i < listing->count; i++) {
        const struct listed *listed = &listing->rows[i];
        if (listed->left_out)
            continue;
        places[items->count] = i;
        kept[items->count++] =
            (struct reference_item){listed->row, listed->scheme, numbers != NULL ? numbers[i] : NULL};
    }
    return places;
}

enum store_result put_rows(struct change *change, const struct listing *listing,
                           const int64_t *const *numbers, reference_put_items *put, struct outcome *outcome)
{
    struct reference_items items;
    struct reference_differing differing;
    *outcome = (struct outcome){NULL, 0};
    size_t *places = list_kept(change, listing, numbers, &items);
    if (places == NULL)
        return STORE_FAILED;
    if (items.count == 0)
        return STORE_OK;
    enum store_result result = put(change->pg, change->scratch, items, &differing);
    if (result != STORE_OK)
        return result;
    /* An item comes at or after its place among those that differ, so that the array can be used again. */
    for (size_t i = 0; i < differing.count; i++)
        places[i] = places[differing.items[i]];
    *outcome = (struct outcome){places, differing.count};
    change->made_difference = change->made_difference || differing.count > 0;
    return STORE_OK;
}

enum store_result hold_heads(struct change *change)
{
    if (change->holds_heads)
        return STORE_OK;
    change->holds_heads = true;
    return store_reference_hold(change->pg, change->version);
}

static int compare_code(const void *code, const void *element)
{
    return strcmp(code, *(const char *const *)element);
}

bool is_named(const struct change *change, enum reference_kind kind, const char *code)
{
    const struct sorted_codes *named = &change->named[kind];
    return (named->count > 0 &&
            bsearch(code, named->codes, named->count, sizeof *named->codes, compare_code) != NULL) ||
           seen_has(&change->faulty, kind, code, strlen(code));
}

/* ---- faults ---- */

/* A list of faults that is full does not tell, so that a fault may go uncounted there. */
static bool is_blamed_already(const struct change *change, const char *pointer)
{
    return change->row_is_faulty && (faults_are_full(change->faults) || faults_have(change->faults, pointer));
}

void blame(struct change *change, enum reason reason, const char *member, const char *detail)
{
    char pointer[2 * PLACE_MAX];
    snprintf(pointer, sizeof pointer, "%s%s", change->place, member);
    if (!is_blamed_already(change, pointer))
        faults_add(change->faults, reason, pointer, "%s", detail);
}

void blame_name(struct change *change, enum reason reason, const char *member, const char *detail)
{
    if (change->document != NULL)
        blame(change, reason, member, detail);
    else
        faults_add_parameter(change->faults, reason, member + 1, "%s", detail);
}

void blame_element(struct change *change, enum reason reason, const char *list, size_t index,
                   const char *member, const char *detail)
{
    char pointer[PLACE_MAX];
    snprintf(pointer, sizeof pointer, "/%s/%zu%s", list, index, member);
    blame(change, reason, pointer, detail);
}

void check_amount(struct change *change, const char *member, struct decimal amount, int decimals)
{
    char detail[64];
    if (decimals == DECIMALS_UNKNOWN)
        return;
    snprintf(detail, sizeof detail, "must have exactly %d decimals", decimals);
    if (amount.scale != decimals)
        blame(change, REASON_AMOUNT_DECIMALS, member, detail);
    else if (amount.unscaled > MONEY_STATED_MAX)
        blame(change, REASON_OUT_OF_RANGE, member, "is too large an amount");
}

void blame_too_soon(struct change *change)
{
    blame_name(change, REASON_STARTS_TOO_SOON, "/effective_date",
               "must be a business day that begins more than 5 minutes from now");
}
