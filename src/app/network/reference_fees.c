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
    if (!row->has_service_fee && !row->has_handling_fee && !row->has_monthly_fee)
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
    const struct fee_row_row **sorted = arena_array(change->arena, fees->count + 1, sizeof *sorted);
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

enum store_result check_fee_rows(struct change *change, const struct reference_list *fees, int decimals)
{
    const struct fee_row_row *rows = fees->items;
    struct fee_facts facts;
    if (fees->count == 0)
        return STORE_OK;
    enum store_result result = store_fee_facts(change->pg, change->arena, fees, &facts);
    if (result != STORE_OK)
        return result;
    for (size_t i = 0; i < fees->count; i++)
        check_fee_row(change, &rows[i], i, decimals);
    for (size_t i = 0; i < facts.unknown_participant_count; i++)
        blame_element(change, REASON_PARTICIPANT_UNKNOWN, "fees", (size_t)facts.unknown_participants[i],
                      "/participant", "is not known");
    for (size_t i = 0; i < facts.unknown_cup_type_count; i++)
        blame_element(change, REASON_CUP_TYPE_UNKNOWN, "fees", (size_t)facts.unknown_cup_types[i],
                      "/cup_type", "is not known");
    return check_fee_repeats(change, fees);
}

/* ---- dated values of participants and sites ---- */

/* Whether there is a row to put the value under. `code` is that of `what`, "participant" or "site". */
static bool can_start(struct change *change, const char *what, const struct starting_facts *facts)
{
    char member[PLACE_MAX];
    snprintf(member, sizeof member, "/%s", what);
    if (!facts->known && change->document != NULL)
        blame(change, *what == 's' ? REASON_SITE_UNKNOWN : REASON_PARTICIPANT_UNKNOWN, member,
              "is not known");
    else if (!facts->known)
        faults_add(change->faults, REASON_NOT_FOUND, NULL, "there is no such %s", what);
    return facts->known;
}

static void note_start(struct change *change, bool differs, const struct starting_facts *facts)
{
    change->made_difference = change->made_difference || differs;
    if (differs && facts->has_begun)
        blame_too_soon(change);
}

enum store_result put_tax_registration(struct change *change, const void *given)
{
    const struct tax_registration_row *row = given;
    struct starting_facts facts;
    bool differs = false;
    enum store_result result =
        store_starting_facts(change->pg, row->participant, NULL, row->effective_date, &facts);
    if (result != STORE_OK || !can_start(change, "participant", &facts))
        return result;
    result = store_put_tax_registration(change->pg, row, &differs);
    note_start(change, differs, &facts);
    return result;
}

enum store_result put_site_kind(struct change *change, const void *given)
{
    const struct site_kind_row *row = given;
    struct starting_facts facts;
    bool differs = false;
    enum store_result result = store_starting_facts(change->pg, NULL, row->site, row->effective_date, &facts);
    if (result != STORE_OK || !can_start(change, "site", &facts))
        return result;
    result = store_put_site_kind(change->pg, row, &differs);
    note_start(change, differs, &facts);
    return result;
}
