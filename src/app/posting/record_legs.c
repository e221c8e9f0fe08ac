/* SPDX-License-Identifier: ISC */
/* A journal may move money of certain accounts. It can write off a bad debt by a participant's arrears, or
 * mend a wrong fee by a site's clearing; deposits and amounts settled follow from events and payments alone.
 */
#include "app/posting/record_legs.h"

#include "store/bank_store.h"
#include "store/month_store.h"

#include <stdio.h>

enum { POINTER_MAX = 64 };

/* `bank_shut`: the bank's statements move the account bank, and no journal may. */
static void find_leg(struct recording *recording, size_t i, bool bank_shut)
{
    char pointer[POINTER_MAX];
    const struct ledger *ledger = recording->ledger;
    const struct stated_leg *stated = &recording->event->legs[i];
    const struct currency *currency = ledger->scheme->currency;
    struct leg *leg = &recording->stated[i];
    leg->amount = stated->amount.unscaled;
    snprintf(pointer, sizeof pointer, "/legs/%zu/account", i);
    if (!network_account(ledger->network, stated->account, &leg->account) ||
        !network_account_is_of(ledger->network, leg->account, ledger->scheme->id))
        faults_add(recording->faults, REASON_ACCOUNT_UNKNOWN, pointer, "the scheme has no such account");
    else if (!account_kind_takes_journals(account_kind_of(leg->account)))
        faults_add(recording->faults, REASON_NOT_FOR_JOURNALS, pointer,
                   "is none of bank, bank_suspense, income, expense, tax, refund_variance, operator_account, "
                   "arrears and site_clearing");
    else if (bank_shut && account_kind_of(leg->account) == ACCOUNT_BANK)
        faults_add(recording->faults, REASON_BANK_BY_STATEMENT, pointer,
                   "moves by the bank's statements, once the scheme has read one");
    snprintf(pointer, sizeof pointer, "/legs/%zu/amount", i);
    if (stated->amount.scale != currency->decimals)
        faults_add(recording->faults, REASON_AMOUNT_DECIMALS, pointer, "%s has %u decimals", currency->code,
                   currency->decimals);
}

enum store_result record_check_month(struct pg *pg, int32_t scheme, struct date day, struct faults *faults)
{
    struct month_state state;
    enum store_result result = store_month_state(pg, scheme, day, &state);
    if (result == STORE_OK && state.closed)
        faults_add(faults, REASON_MONTH_CLOSED, "/occurred_at",
                   "lies in a month that is closed for journals");
    return result;
}

enum store_result record_find_legs(struct recording *recording)
{
    const struct ledger *ledger = recording->ledger;
    const struct event *event = recording->event;
    struct money sum = {0};
    bool bank_shut;
    recording->stated = arena_array(ledger->arena, event->leg_count + 1, sizeof *recording->stated);
    if (recording->stated == NULL)
        return STORE_FAILED;
    enum store_result result = store_reads_statements(ledger->pg, ledger->scheme->id, &bank_shut);
    if (result == STORE_OK && recording->occurrence != NULL)
        result = record_check_month(ledger->pg, ledger->scheme->id, recording->occurrence->date,
                                    recording->faults);
    if (result != STORE_OK)
        return result;
    for (size_t i = 0; i < event->leg_count; i++)
        find_leg(recording, i, bank_shut);
    if (recording->faults->count > 0)
        return STORE_OK;
    for (size_t i = 0; i < event->leg_count; i++) /* a hundred bounded amounts: no overflow */
        sum.minor += recording->stated[i].amount;
    if (sum.minor != 0)
        faults_add(recording->faults, REASON_UNBALANCED, "/legs", "do not sum to zero");
    return STORE_OK;
}
