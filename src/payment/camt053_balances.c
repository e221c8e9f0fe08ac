/* SPDX-License-Identifier: ISC */
/* The codes are those of ISO 20022's external code set ExternalBalanceType1Code (from memory):
 *
 * OPBD, opening booked: on the account before the first line.
 * PRCD, previously closed booked: the closing of the last statement. Some banks state it in place of OPBD.
 * CLBD, closing booked: on the account after the last line.
 * ITBD, interim booked: between two pages, or at some time of the day.
 * CLAV, OPAV, ITAV, FWAV, available: the amount that may be spent, with credit lines and less float.
 *
 * The account's own lines must explain the first three only. */
#include "payment/camt053_balances.h"

#include <string.h>

/* The balance of this code. Unknown if there is none, or if two of them contradict each other. */
static struct camt_stated stated(const struct camt_statement *statement, const char *code)
{
    struct camt_stated found = {0};
    for (size_t i = 0; i < statement->balance_count; i++) {
        const struct camt_balance *balance = &statement->balances[i];
        if (balance->proprietary || strcmp(balance->code, code) != 0)
            continue;
        if (found.known && found.amount.minor != balance->amount.minor)
            return (struct camt_stated){0};
        found = (struct camt_stated){true, balance->amount, balance->on};
    }
    return found;
}

struct camt_stated camt053_opening(const struct camt_statement *statement)
{
    struct camt_stated opening = stated(statement, "OPBD");
    return opening.known ? opening : stated(statement, "PRCD");
}

struct camt_stated camt053_closing(const struct camt_statement *statement)
{
    return stated(statement, "CLBD");
}

bool camt053_booked(const struct camt_statement *statement, struct money *sum)
{
    *sum = (struct money){0};
    for (size_t i = 0; i < statement->line_count; i++)
        if (statement->lines[i].booked &&
            __builtin_add_overflow(sum->minor, statement->lines[i].amount.minor, &sum->minor))
            return false;
    return true;
}

/* The first or the last day on which a line was booked. */
static bool booking_day(const struct camt_statement *statement, bool is_last, struct date *day)
{
    bool found = false;
    for (size_t i = 0; i < statement->line_count; i++) {
        const struct camt_line *line = &statement->lines[i];
        if (!line->booked || !line->dated)
            continue;
        if (!found || (is_last ? line->booked_on.days > day->days : line->booked_on.days < day->days))
            *day = line->booked_on;
        found = true;
    }
    return found;
}

/* The closing balance says the last day best: some banks end the period at midnight of the next day. The day
 * of an opening balance says nothing: with some banks it is the day before. */
void camt053_days(const struct camt_statement *statement, struct date otherwise, struct date *first,
                  struct date *last)
{
    struct camt_stated closing = camt053_closing(statement);
    *last = otherwise;
    if (closing.known)
        *last = closing.on;
    else if (statement->has_to)
        *last = statement->to;
    else
        (void)booking_day(statement, true, last);
    *first = *last;
    if (statement->has_from)
        *first = statement->from;
    else
        (void)booking_day(statement, false, first);
    if (first->days > last->days)
        *first = *last;
}
