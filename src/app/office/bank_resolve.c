/* SPDX-License-Identifier: ISC */
/* Resolving a line that waits in bank_suspense: a person says what it was, and its amount goes there. */
#include "app/office/bank.h"

#include "app/office/bank_between.h"
#include "app/office/bank_line.h"
#include "app/office/bank_match.h"

enum { ENTRIES_MAX = 3 };

struct resolving {
    const struct bank_line_order *order;
    struct head_work *work;
    struct faults *faults;
    struct money amount; /* the line's */
    bool is_stranger;    /* it names no payment of ours */
    struct bank_resolution_row row;
    int64_t entries[ENTRIES_MAX];
    struct between_booked_row between; /* its part of another pool's payment */
};

static enum store_result book_suspense(struct resolving *resolving, struct money amount)
{
    return bank_line_post(resolving->work, amount, &resolving->entries[resolving->row.entry_count++]);
}

static enum store_result resolve_for(struct resolving *resolving, struct money amount, int32_t participant,
                                     enum line_target target)
{
    return bank_line_resolve(resolving->work, amount, participant, target,
                             &resolving->entries[resolving->row.entry_count++]);
}

/* Confirms or fails the payment, as the line says, unless a person has done so already. */
static enum store_result change_by_line(struct resolving *resolving, struct bank_payment *payment)
{
    bool came_back = resolving->row.came_back;
    bool possible = came_back ? payment->confirmed && !payment->came_back : !payment->taken;
    bool done = came_back ? payment->status == PAYMENT_FAILED : payment->confirmed;
    if (!possible) {
        faults_add(resolving->faults, REASON_PAYMENT_STATE, "/payment_id", "%s",
                   came_back ? "was not confirmed, or has come back already"
                             : "another line was taken for it");
        return STORE_OK;
    }
    if (done)
        return STORE_OK;
    return bank_payment_change(resolving->work, payment, came_back ? CHANGE_FAIL : CHANGE_CONFIRM,
                               resolving->order->note, resolving->faults,
                               &resolving->entries[resolving->row.entry_count++]);
}

/* Another pool has no arrears for a difference. A payment in another currency takes the amount that the bank
 * booked. */
static bool fits_pool_payment(struct resolving *resolving, struct bank_payment *payment)
{
    bool is_unknown = !payment->in_own_currency && !payment->confirmed && resolving->amount.minor < 0;
    if (is_unknown)
        payment->amount.minor = -resolving->amount.minor;
    if (payment->amount.minor ==
        (resolving->amount.minor < 0 ? -resolving->amount.minor : resolving->amount.minor))
        return true;
    faults_add(resolving->faults, REASON_OUT_OF_RANGE, "/payment_id",
               "is a payment to another pool, which only a line of its whole amount can be");
    return false;
}

/* The line was this payment, or its return. The payment's own entry moves the account `bank`, so the entry of
 * the line is taken back by as much. The rest, by which the line is over or under, becomes the participant's
 * arrears, which the next pay day settles. */
static enum store_result resolve_as(struct resolving *resolving, struct bank_payment *payment)
{
    if (payment->host != 0 && !fits_pool_payment(resolving, payment))
        return STORE_OK;
    struct money moved = bank_payment_effect(payment);
    resolving->row.payment_id = payment->payment_id;
    resolving->row.came_back = !bank_same_sign(resolving->amount, moved);
    if (resolving->row.came_back)
        moved.minor = -moved.minor;
    struct money rest = {resolving->amount.minor - moved.minor};
    enum store_result result = change_by_line(resolving, payment);
    if (result == STORE_OK && resolving->faults->count == 0)
        result = book_suspense(resolving, (struct money){-moved.minor});
    if (result == STORE_OK && resolving->faults->count == 0 && rest.minor != 0)
        result = resolve_for(resolving, rest, payment->payer != 0 ? payment->payer : payment->payee,
                             LINE_FOR_ARREARS);
    return result;
}

static enum store_result resolve_as_payment(struct resolving *resolving)
{
    struct head_work *work = resolving->work;
    const struct payment_ids ids = {&resolving->order->payment_id, 1};
    struct bank_payment *payment;
    size_t found;
    enum store_result result =
        store_bank_payments(work->pg, &work->arena, work->scheme->id, &ids, &payment, &found);
    if (result != STORE_OK)
        return result;
    if (found > 0 && !bank_payment_is_direct(payment))
        return resolve_as(resolving, payment);
    faults_add(resolving->faults, REASON_PAYMENT_UNKNOWN, "/payment_id", "%s",
               found > 0 ? "is a payment between participants" : "is not known in the scheme");
    return STORE_OK;
}

/* No payment shows whose money a stranger's line was; one person's word is all we have. The operator's own
 * money also moves on a person's word. So a second person must approve, even in a scheme without dual
 * control. */
static enum store_result propose(struct resolving *resolving)
{
    struct head_work *work = resolving->work;
    int32_t scheme = work->scheme->id;
    const struct weakening nothing_else = {.changes = "[]", .schemes = &scheme, .scheme_count = 1};
    return control_propose(work->pg, resolving->order->control, &nothing_else);
}

static enum store_result resolve_for_participant(struct resolving *resolving)
{
    const struct bank_line_order *order = resolving->order;
    const struct head_work *work = resolving->work;
    const struct participant *participant = network_participant(work->network, order->participant);
    if (participant == NULL || !network_takes_part(work->network, participant->id, work->scheme->id)) {
        faults_add(resolving->faults, REASON_PARTICIPANT_UNKNOWN, "/participant",
                   "has no site in the scheme");
        return STORE_OK;
    }
    if (resolving->is_stranger && order->control->origins == NULL)
        return propose(resolving);
    resolving->row.participant = participant->id;
    resolving->row.account = "arrears";
    return resolve_for(resolving, resolving->amount, participant->id, LINE_FOR_ARREARS);
}

/* Money that the operator took out beyond what was free for it is a fact of the bank's, and is recorded. It
 * stays an exception until two people resolve it. */
static enum store_result note_taken_out(struct resolving *resolving)
{
    struct head_work *work = resolving->work;
    struct money taken = {resolving->amount.minor < 0 ? -resolving->amount.minor : 0}, free_before;
    enum store_result result =
        store_withdrawable(work->pg, work->scheme->id, work->today->date, &free_before);
    free_before.minor += taken.minor; /* the account at the bank lacks the line already */
    struct money beyond = exception_taken_beyond(taken, free_before);
    if (result != STORE_OK || beyond.minor == 0)
        return result;
    return ledger_add_exception(
        &work->ledger, 0,
        (struct exception){.kind = EXCEPTION_TAKEN_OUT_BEYOND, .has_amount = true, .amount = beyond});
}

/* The payment of the home that the line was, by its id as the person or the line states it, or because no
 * other can be meant. *payment NULL: there is none. */
static enum store_result find_pool_payment(struct resolving *resolving, const struct scheme *home,
                                           struct bank_pool_payment **payment)
{
    struct head_work *work = resolving->work;
    const char *id = resolving->order->payment_id;
    size_t found = 0;
    enum store_result result = STORE_OK;
    if (id == NULL)
        result = store_between_line_payment(work->pg, &work->arena, work->scheme->id, home->id,
                                            resolving->order->line, &id);
    if (result == STORE_OK && id != NULL)
        result = store_bank_pool_payments(work->pg, &work->arena, work->scheme->id,
                                          &(struct payment_ids){&id, 1}, payment, &found);
    if (found == 0 || (*payment)->home != home->id)
        *payment = NULL;
    return result;
}

/* Another scheme owed it, and two people say which of its payments it was. */
static enum store_result resolve_between(struct resolving *resolving)
{
    const struct bank_line_order *order = resolving->order;
    struct head_work *work = resolving->work;
    const struct scheme *home = order->other != NULL ? network_scheme(work->network, order->other) : NULL;
    struct bank_pool_payment *payment = NULL;
    if (home == NULL ||
        network_agreement(work->network, home->id, work->scheme->id, (struct date){INT32_MAX}) == NULL) {
        faults_add(resolving->faults, REASON_SCHEME_UNKNOWN, "/scheme",
                   "has no agreement with this one as its host");
        return STORE_OK;
    }
    enum store_result result = find_pool_payment(resolving, home, &payment);
    if (result != STORE_OK)
        return result;
    if (payment == NULL) {
        faults_add(resolving->faults, REASON_PAYMENT_UNKNOWN, "/payment_id",
                   "give the payment of that scheme's pool that the line was");
        return STORE_OK;
    }
    if (order->control->origins == NULL)
        return propose(resolving);
    resolving->row.account = account_kind_word(ACCOUNT_BETWEEN_SCHEMES);
    return bank_between_post(work, KIND_BANK_LINE_RESOLVED, payment, resolving->amount, &resolving->between,
                             &resolving->entries[resolving->row.entry_count++]);
}

static enum store_result resolve_for_scheme(struct resolving *resolving)
{
    static const enum account_kind accounts[] = {
        [LINE_OF_NOBODY] = ACCOUNT_NONE,
        [LINE_FOR_SETTLEMENT] = ACCOUNT_SETTLEMENT_DUE,
        [LINE_FOR_ARREARS] = ACCOUNT_ARREARS,
        [LINE_FOR_CHARGES] = ACCOUNT_BANK_CHARGES,
        [LINE_FOR_INTEREST] = ACCOUNT_INTEREST,
        [LINE_FOR_OPERATOR] = ACCOUNT_OPERATOR_ACCOUNT,
        [LINE_FOR_BETWEEN] = ACCOUNT_BETWEEN_SCHEMES,
    };
    enum line_target target = resolving->order->target;
    if (target == LINE_FOR_OPERATOR && resolving->order->control->origins == NULL)
        return propose(resolving);
    resolving->row.account = account_kind_word(accounts[target]);
    enum store_result result = resolve_for(resolving, resolving->amount, 0, target);
    return result == STORE_OK && target == LINE_FOR_OPERATOR ? note_taken_out(resolving) : result;
}

static enum store_result resolve_as_stated(struct resolving *resolving)
{
    if (resolving->order->target == LINE_FOR_BETWEEN)
        return resolve_between(resolving);
    if (resolving->order->payment_id != NULL)
        return resolve_as_payment(resolving);
    return resolving->order->target == LINE_FOR_ARREARS ? resolve_for_participant(resolving)
                                                        : resolve_for_scheme(resolving);
}

static enum store_result find_line(struct resolving *resolving)
{
    struct bank_line line = {0};
    bool found;
    enum store_result result = store_find_line(resolving->work->pg, resolving->work->scheme->id,
                                               resolving->order->line, &line, &found);
    resolving->amount = line.amount;
    resolving->is_stranger = line.is_stranger;
    if (result == STORE_OK && !found)
        faults_add(resolving->faults, REASON_NOT_FOUND, NULL, "there is no such line");
    else if (result == STORE_OK && !line.open)
        faults_add(resolving->faults, REASON_LINE_NOT_OPEN, NULL, "it was matched, or resolved already");
    return result;
}

static enum store_result resolve_open(struct resolving *resolving)
{
    struct head_work *work = resolving->work;
    struct control *control = resolving->order->control;
    enum store_result result = find_line(resolving);
    if (result == STORE_OK && resolving->faults->count == 0)
        result = resolve_as_stated(resolving);
    if (result != STORE_OK || resolving->faults->count > 0 || control->proposed)
        return result;
    result = store_add_resolution(work->pg, &resolving->row);
    if (result == STORE_OK && resolving->between.home != 0)
        result = store_add_between_booked(work->pg, work->scheme->id, resolving->order->line,
                                          work->today->date, &resolving->between);
    return result == STORE_OK && control->origins != NULL ? control_end(work->pg, &work->arena, control)
                                                          : result;
}

static enum store_result resolve(void *context, struct head_work *work, struct faults *faults)
{
    struct resolving *resolving = context;
    resolving->work = work;
    resolving->faults = faults;
    resolving->between = (struct between_booked_row){0};
    resolving->row = (struct bank_resolution_row){
        .scheme = work->scheme->id,
        .line = resolving->order->line,
        .resolved_at = work->now,
        .key = resolving->order->key,
        .note = resolving->order->note,
        .entries = resolving->entries,
        .proposal = resolving->order->control->author.proposal,
    };
    resolving->order->control->now = work->now;
    enum store_result result = control_begin(work->pg, resolving->order->control, faults);
    if (result == STORE_OK && faults->count == 0 && !resolving->order->control->decided)
        result = resolve_open(resolving);
    return result;
}

static enum store_result view_line(void *context, struct pg *pg)
{
    const struct resolving *resolving = context;
    if (resolving->order->json == NULL || resolving->order->control->proposed)
        return STORE_OK;
    buffer_reset(resolving->order->json);
    bool found;
    return read_bank_line(pg, resolving->order->scheme, resolving->order->line, resolving->order->json,
                          &found);
}

enum store_result bank_resolve_line(struct pg *pg, struct snapshot_cache *snapshots,
                                    const struct bank_line_order *order, struct faults *faults)
{
    struct resolving resolving = {.order = order};
    const struct head_order under_head = {
        .scheme = order->scheme,
        .key = order->key,
        .dry_run = order->dry_run,
        .posts_now = true,
        .work = resolve,
        .view = view_line,
        .context = &resolving,
    };
    return head_work_run(pg, snapshots, &under_head, faults);
}
