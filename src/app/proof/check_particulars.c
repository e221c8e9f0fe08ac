/* SPDX-License-Identifier: ISC */
/* Verifies particulars: hashes those of each closed day again, and follows the chain from day to day. */
#include "app/closing/particulars.h"
#include "app/proof/checks.h"

#include <string.h>

static const char *const part_names[PARTICULARS_PARTS] = {
    [PARTICULARS_ENTRIES] = "who posted its entries, or when they were recorded",
    [PARTICULARS_EXCEPTIONS] = "its exceptions",
    [PARTICULARS_SITES] = "the lines of its sites",
    [PARTICULARS_DAY] = "its bounds, or when and by whom it was closed",
    [PARTICULARS_PAYMENTS] = "when its payments are due, to which account, or why they were held",
    [PARTICULARS_CHANGES] = "the changes of reference data and keys until its close",
    [PARTICULARS_FEES] = "the lines of its fees",
    [PARTICULARS_FEE_NOTES] = "the fee notes that its close issued",
};

static enum store_result check_day(const struct check_scope *scope, struct check_figures *figures,
                                   const struct particulars_day *day, const struct sha256 *previous)
{
    struct sha256 parts[PARTICULARS_PARTS], digest;
    char date[DATE_TEXT_MAX];
    enum store_result result = particulars_hash(scope->pg, day, NULL, parts);
    if (result != STORE_OK)
        return result;
    date_format(day->date, date);
    for (size_t i = 0; i < day->part_count; i++)
        check_examined(scope, figures, memcmp(&parts[i], &day->parts[i], sizeof parts[i]) != 0,
                       "%s: %s have changed", date, part_names[i]);
    particulars_link(day, day->parts, &digest);
    check_examined(scope, figures,
                   memcmp(previous, &day->previous, sizeof *previous) != 0 ||
                       memcmp(&digest, &day->digest, sizeof digest) != 0,
                   "the particulars of %s do not follow those of the day before, or its seal", date);
    return STORE_OK;
}

static bool is_asked(const struct check_period *period, struct date date)
{
    return period == NULL || (date.days >= period->first.days && date.days <= period->last.days);
}

/* The latest days may not have their particulars yet, but there must be no gap before a day that has them. */
enum store_result check_particulars(const struct check_scope *scope, struct check_figures *figures)
{
    struct particulars_day *days;
    struct sha256 previous = {{0}};
    size_t count = 0;
    char date[DATE_TEXT_MAX], wanting[DATE_TEXT_MAX] = "";
    enum store_result result = particulars_days(scope->pg, scope->arena, scope->scheme->id, &days, &count);
    for (size_t i = 0; i < count && result == STORE_OK; i++) {
        if (!is_asked(scope->period, days[i].date)) {
            previous = days[i].digest;
            continue;
        }
        date_format(days[i].date, date);
        if (!days[i].kept) {
            strcpy(wanting, date);
            continue;
        }
        check_examined(scope, figures, *wanting != '\0', "the particulars of %s are missing", wanting);
        result = check_day(scope, figures, &days[i], &previous);
        previous = days[i].digest;
        *wanting = '\0';
    }
    return result;
}
