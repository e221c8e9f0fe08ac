/* SPDX-License-Identifier: ISC */
/* Each fault gets the pointer of the member that it is about. */
#include "app/network/reference_rules.h"

#include <stdio.h>

void blame(struct change *change, enum reason reason, const char *member, const char *detail)
{
    char pointer[2 * PLACE_MAX];
    snprintf(pointer, sizeof pointer, "%s%s", change->place, member);
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
