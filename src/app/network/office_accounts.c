/* SPDX-License-Identifier: ISC */
/* A ladder for each account of the list, then the rules that compare accounts: neighbours once the list is
 * sorted. */
#include "app/network/office_accounts.h"

#include "base/utf8.h"
#include "depositd/account.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { POINTER_MAX = 128 };

struct check {
    const struct office_account_row *accounts;
    const int64_t *numbers;
    const char *place;
    struct faults *faults;
};

static void blame(const struct check *check, size_t index, enum reason reason, const char *member,
                  const char *detail)
{
    char pointer[POINTER_MAX];
    snprintf(pointer, sizeof pointer, "%s/accounts/%zu/%s", check->place, index, member);
    faults_add(check->faults, reason, pointer, "%s", detail);
}

static bool is_printable_ascii(const char *text)
{
    while (*text >= ' ' && *text <= '~')
        text++;
    return *text == '\0';
}

static bool has_blank_at_end(const char *text)
{
    return text[0] == ' ' || text[strlen(text) - 1] == ' ';
}

static void check_account(const struct check *check, size_t i)
{
    const struct office_account_row *row = &check->accounts[i];
    struct account account = {check->numbers[i]};
    if (account.code == 0)
        blame(check, i, REASON_ACCOUNT_UNKNOWN, "account",
              "is neither an account of the scheme, as site_clearing(anchor), nor a kind of account");
    else if (account_counts_cups(account))
        blame(check, i, REASON_VALUE_UNKNOWN, "account",
              "counts cups: the office's ledger has codes for money only");
    if (!is_printable_ascii(row->code) || has_blank_at_end(row->code))
        blame(check, i, REASON_BAD_FORMAT, "code",
              "must be printable characters of ASCII, without a space at an end");
    else if (strchr("=+-@", row->code[0]) != NULL)
        blame(check, i, REASON_BAD_FORMAT, "code",
              "may not begin with = + - or @: spreadsheets would run it as a formula");
    if (utf8_has_control(row->name) || has_blank_at_end(row->name))
        blame(check, i, REASON_BAD_FORMAT, "name", "must be printable characters, without a space at an end");
}

static int compare_accounts(const void *a, const void *b, void *context)
{
    const struct check *check = context;
    size_t left = *(const size_t *)a, right = *(const size_t *)b;
    int64_t first = check->numbers[left], second = check->numbers[right];
    int order = (first > second) - (first < second);
    return order != 0 ? order : (left > right) - (left < right);
}

static int compare_codes(const void *a, const void *b, void *context)
{
    const struct check *check = context;
    size_t left = *(const size_t *)a, right = *(const size_t *)b;
    int order = strcmp(check->accounts[left].code, check->accounts[right].code);
    return order != 0 ? order : (left > right) - (left < right);
}

bool office_accounts_check(const struct office_accounts_row *row, const int64_t *numbers, const char *place,
                           struct arena *scratch, struct faults *faults)
{
    size_t count = row->accounts.count;
    struct check check = {row->accounts.items, numbers, place, faults};
    size_t *order = arena_array(scratch, count + 1, sizeof *order);
    if (order == NULL || (numbers == NULL && count > 0))
        return false;
    for (size_t i = 0; i < count; i++) {
        order[i] = i;
        check_account(&check, i);
    }
    qsort_r(order, count, sizeof *order, compare_accounts, &check);
    for (size_t i = 1; i < count; i++)
        if (numbers[order[i]] != 0 && numbers[order[i]] == numbers[order[i - 1]])
            blame(&check, order[i], REASON_NAME_TAKEN, "account", "stands in the list before");
    qsort_r(order, count, sizeof *order, compare_codes, &check);
    for (size_t i = 1; i < count; i++)
        if (strcmp(check.accounts[order[i]].code, check.accounts[order[i - 1]].code) == 0 &&
            strcmp(check.accounts[order[i]].name, check.accounts[order[i - 1]].name) != 0)
            blame(&check, order[i], REASON_BAD_FORMAT, "name",
                  "is not the name that the same code has before in the list");
    return true;
}
