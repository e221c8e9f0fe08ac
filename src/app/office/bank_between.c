/* SPDX-License-Identifier: ISC */
/* The home instructs the agreed amount. If that is this scheme's currency, the bank books as much. Otherwise
 * the bank exchanges it, and says what was instructed. The books have the returns that it pays at the rates
 * of their days. */
#include "app/office/bank_between.h"

#include <string.h>

bool bank_between_instructed(const struct camt_line *line, struct money amount,
                             const struct currency *currency)
{
    return line->instructed.currency == currency && line->instructed.amount.minor == amount.minor;
}

/* The home's people have agreed to it, and nobody has said that it failed. */
static bool is_expected(const struct bank_pool_payment *payment)
{
    return payment->status == PAYMENT_APPROVED || payment->status == PAYMENT_INSTRUCTED ||
           payment->status == PAYMENT_CONFIRMED;
}

static const char *judge_money(const struct bank_pool_payment *payment, const struct camt_line *line)
{
    bool says_amount = line->instructed.currency != NULL;
    if (!is_expected(payment) || payment->paid.minor != 0 || line->amount.minor <= 0)
        return "unmatched";
    if (says_amount ? !bank_between_instructed(line, payment->agreed, payment->currency)
                    : !payment->in_own_currency)
        return "unmatched";
    if (payment->in_own_currency && line->amount.minor != payment->agreed.minor)
        return line->amount.minor < payment->agreed.minor ? "underpaid" : "overpaid";
    return NULL;
}

/* Money that came in full goes back in full. */
static const char *judge_return(const struct bank_pool_payment *payment, const struct camt_line *line)
{
    bool was_paid = payment->paid.minor == payment->agreed.minor;
    bool fits = !payment->in_own_currency || line->amount.minor == -payment->agreed.minor;
    return was_paid && line->amount.minor < 0 && fits ? NULL : "unmatched";
}

const char *bank_between_judge(const struct bank_pool_payment *payment, const struct camt_line *line)
{
    return line->returned ? judge_return(payment, line) : judge_money(payment, line);
}

/* In the agreed currency the amount is what it is. In the other one, a line pays all that is left of the
 * payment, and a return takes back all that was paid. */
static void part_of(const struct bank_pool_payment *payment, struct money amount,
                    struct between_booked_row *row)
{
    *row = (struct between_booked_row){payment->home, payment->payment_id, amount, amount};
    if (payment->in_own_currency)
        return;
    bool goes_back = amount.minor < 0;
    row->agreed.minor = goes_back ? -payment->paid.minor : payment->agreed.minor - payment->paid.minor;
    row->booked.minor =
        goes_back ? -payment->paid_booked.minor : payment->host_booked.minor - payment->paid_booked.minor;
}

enum store_result bank_between_post(struct head_work *work, enum entry_kind kind,
                                    struct bank_pool_payment *payment, struct money amount,
                                    struct between_booked_row *row, int64_t *entry)
{
    part_of(payment, amount, row);
    const struct agreed agreed = {.home = payment->home, .host = work->scheme->id, .booked = row->booked};
    const struct posting_facts facts = {
        .kind = kind,
        .stock_terms = work->scheme->stock_terms,
        .amount = amount,
        .target = LINE_FOR_BETWEEN,
        .agreed = &agreed,
        .agreed_count = 1,
    };
    payment->paid.minor += row->agreed.minor;
    payment->paid_booked.minor += row->booked.minor;
    return head_work_post(work, &facts, entry);
}
