/* SPDX-License-Identifier: ISC */
/* Reading legs from rows. */
#include "store/leg_rows.h"

struct stored_legs row_legs_of_texts(struct pg_row *row, const char *accounts, const char *amounts)
{
    struct stored_legs list = {0};
    size_t amount_count;
    const int64_t *codes = row_ints_of_text(row, accounts, &list.count);
    const int64_t *numbers = row_ints_of_text(row, amounts, &amount_count);
    row_check(row, amount_count == list.count);
    if (row->failed)
        return list;
    list.legs = arena_array(row->arena, list.count + 1, sizeof *list.legs);
    row_check_memory(row, list.legs);
    for (size_t i = 0; list.legs != NULL && i < list.count; i++)
        list.legs[i] = (struct leg){{codes[i]}, numbers[i]};
    return list;
}

struct stored_legs row_legs(struct pg_row *row)
{
    const char *accounts = row_text(row);
    const char *amounts = row_text(row);
    return row_legs_of_texts(row, accounts, amounts);
}

void take_leg(struct pg_row *row, void *into)
{
    struct leg *leg = into;
    leg->account.code = row_int(row);
    leg->amount = row_int(row);
}

void take_legs(struct pg_row *row, void *into)
{
    *(struct stored_legs *)into = row_legs(row);
}
