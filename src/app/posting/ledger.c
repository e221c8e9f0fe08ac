/* SPDX-License-Identifier: ISC */
/* Appending to the ledger: numbers, hashes, sums, and the one flush that writes them. */
#include "app/posting/ledger.h"

#include "app/posting/canonical.h"

#include <assert.h>
#include <string.h>

/* The bound of the absolute amounts of all legs of a scheme. It is half of what 64 bits hold, so that no sum
 * of any of these legs can overflow. */
#define GROSS_MAX (INT64_MAX / 2)

void ledger_init(struct ledger *ledger)
{
    ledger->part.state = ledger->state;
    movement_sums_init(&ledger->part.sums, ledger->arena);
}

/* Adds a zeroed row to one of the growing arrays. NULL: out of memory. */
#define PUSH(rows, items, count, capacity)                                                                   \
    (arena_grow((rows)->arena, &(rows)->items, (rows)->count, &(rows)->capacity, sizeof *(rows)->items)      \
         ? (memset(&(rows)->items[(rows)->count], 0, sizeof *(rows)->items),                                 \
            &(rows)->items[(rows)->count++])                                                                 \
         : NULL)

/* First writes the entries that wait; the database's balances do not have them yet. */
static enum store_result read_balance(struct ledger *ledger, int64_t account)
{
    struct account_balance read = {.scheme = ledger->scheme->id, .account = account};
    enum store_result result = ledger_flush(ledger);
    if (result == STORE_OK)
        result = store_balances(ledger->pg, &read, 1);
    return result == STORE_OK ? ledger_state_learn(ledger->state, account, read.balance) : result;
}

enum store_result ledger_balance(struct ledger *ledger, struct account account, int64_t *balance)
{
    uint32_t position;
    enum store_result result = STORE_OK;
    if (!ledger_state_find(ledger->state, account.code, &position))
        result = read_balance(ledger, account.code);
    if (result != STORE_OK)
        return result;
    if (!ledger_state_find(ledger->state, account.code, &position))
        return STORE_FAILED;
    *balance = ledger->state->balances[position];
    return STORE_OK;
}

enum store_result ledger_day(struct ledger *ledger, struct date date, struct day_counters **day)
{
    struct day_counters read = {.scheme = ledger->scheme->id, .date = date};
    *day = ledger_state_day(ledger->state, date);
    if (*day != NULL)
        return STORE_OK;
    enum store_result result = store_day_counters(ledger->pg, &read, 1);
    if (result != STORE_OK)
        return result;
    *day = ledger_state_learn_day(ledger->state, &read);
    return *day != NULL ? STORE_OK : STORE_FAILED;
}

static enum store_result add_movement(struct ledger *ledger, struct date date, struct leg leg)
{
    if (!ledger_state_add(ledger->state, leg.account, leg.amount))
        return STORE_OUT_OF_RANGE;
    return movement_sums_add_leg(&ledger->part.sums, date, leg);
}

/* Entries of the close are not the site's activity, and a fee has a column of its own. */
static bool is_activity(enum entry_kind kind)
{
    return entry_kind_activity(kind) != ACTIVITY_CLOSE;
}

static enum store_result add_activity(struct ledger *ledger, const struct draft *draft)
{
    if (draft->site != 0) {
        struct site_day_row *day =
            movement_sums_site_day(&ledger->part.sums, draft->site, draft->business_date);
        if (day == NULL)
            return STORE_FAILED;
        day->fees += draft->fees;
        day->tax += draft->tax;
    }
    for (size_t i = 0; i < draft->leg_count && is_activity(draft->kind); i++) {
        int32_t site = activity_site(draft->legs[i]);
        bool mirrored = i < draft->mirrored_count;
        if (site == 0)
            continue;
        struct site_day_row *day = movement_sums_site_day(&ledger->part.sums, site, draft->business_date);
        if (day == NULL)
            return STORE_FAILED;
        if (!activity_add(&day->activity, mirrored ? draft->mirrored_kind : draft->kind, mirrored,
                          draft->legs[i]))
            return STORE_OUT_OF_RANGE;
    }
    return STORE_OK;
}

/* The close charges the cups of today's entries by today's terms. If a reversal takes back cups of an earlier
 * day, the close charges those by the terms of that day, so it has to know how many they are. */
static enum store_result add_reversed(struct ledger *ledger, const struct draft *draft)
{
    struct activity activity = {0};
    if (draft->mirrored_count == 0 || draft->mirrored_date.days == draft->business_date.days)
        return STORE_OK;
    for (size_t i = 0; i < draft->mirrored_count; i++)
        if (!activity_add(&activity, draft->mirrored_kind, true, draft->legs[i]))
            return STORE_OUT_OF_RANGE;
    if (activity.issued == 0 && activity.returned == 0)
        return STORE_OK;
    struct reversed_row *row = PUSH(ledger->unwritten, reversed, reversed_count, reversed_capacity);
    if (row == NULL)
        return STORE_FAILED;
    *row = (struct reversed_row){
        .scheme = ledger->scheme->id,
        .site = draft->site,
        .business_date = draft->business_date,
        .original_date = draft->mirrored_date,
        .issued = -activity.issued,
        .returned = -activity.returned,
    };
    return STORE_OK;
}

/* The text of what is agreed, and of what is followed. NULL without a failure: there is neither. */
static enum store_result write_between(struct ledger *ledger, const struct draft *draft, const char **agreed,
                                       const char **followed)
{
    struct buffer *text = &ledger->unwritten->leaf;
    buffer_reset(text);
    if (draft->agreed_count > 0)
        canonical_agreed(ledger->network, draft->agreed, draft->agreed_count, text);
    *agreed =
        draft->agreed_count > 0 && !text->failed ? arena_copy(ledger->arena, text->data, text->length) : NULL;
    if (draft->agreed_count > 0 && *agreed == NULL)
        return STORE_FAILED;
    *followed = NULL;
    if (draft->followed == NULL)
        return STORE_OK;
    buffer_reset(text);
    canonical_followed(ledger->network, draft->followed, text);
    *followed = !text->failed ? arena_copy(ledger->arena, text->data, text->length) : NULL;
    return *followed != NULL ? STORE_OK : STORE_FAILED;
}

static enum store_result hash_leaf(struct ledger *ledger, const struct draft *draft, int64_t entry,
                                   struct sha256 *hash)
{
    struct buffer *leaf = &ledger->unwritten->leaf;
    const char *agreed, *followed;
    enum store_result result = write_between(ledger, draft, &agreed, &followed);
    if (result != STORE_OK)
        return result;
    buffer_reset(leaf);
    canonical_leaf(
        &(struct canonical_entry){
            .network = ledger->network,
            .scheme = ledger->scheme,
            .entry = entry,
            .business_date = draft->business_date,
            .kind = draft->kind,
            .event = draft->event != NULL ? draft->event->text : NULL,
            .agreed = agreed,
            .followed = followed,
            .legs = draft->legs,
            .leg_count = draft->leg_count,
        },
        leaf);
    if (leaf->failed)
        return STORE_FAILED;
    merkle_leaf(leaf->data, leaf->length, hash);
    return STORE_OK;
}

static void count_in_day(struct day_counters *day, const struct draft *draft, int64_t entry,
                         const struct sha256 *hash)
{
    frontier_append(&day->frontier, hash);
    day->entries++;
    day->events += draft->event != NULL;
    day->late_events += draft->late;
    day->last_entry = entry;
    if (day->first_entry == 0)
        day->first_entry = entry;
}

static bool add_gross(struct ledger_state *state, const struct leg *legs, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        int64_t amount = legs[i].amount < 0 ? -legs[i].amount : legs[i].amount;
        if (amount > GROSS_MAX - state->head.gross)
            return false;
        state->head.gross += amount;
    }
    return true;
}

static bool push_legs(struct unwritten *unwritten, const struct leg *legs, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        struct leg *leg = PUSH(unwritten, legs, leg_count, leg_capacity);
        if (leg == NULL)
            return false;
        *leg = legs[i];
    }
    return true;
}

/* Keeps what is agreed and what is followed, for rows of their own. */
static bool push_between(struct ledger *ledger, const struct draft *draft, int64_t entry)
{
    struct unwritten *unwritten = ledger->unwritten;
    int32_t scheme = ledger->scheme->id;
    for (size_t i = 0; i < draft->agreed_count; i++) {
        struct agreed_row *row = PUSH(unwritten, agreed, agreed_count, agreed_capacity);
        if (row == NULL)
            return false;
        *row = (struct agreed_row){scheme, entry, draft->agreed[i]};
    }
    if (draft->followed == NULL)
        return true;
    struct followed_row *row = PUSH(unwritten, followed, followed_count, followed_capacity);
    if (row != NULL)
        *row = (struct followed_row){scheme, entry, *draft->followed};
    return row != NULL;
}

enum store_result ledger_append(struct ledger *ledger, const struct draft *draft, int64_t *entry)
{
    struct day_counters *day;
    struct sha256 hash;
    struct unwritten *unwritten = ledger->unwritten;
    if (!unwritten_list(unwritten, &ledger->part))
        return STORE_FAILED;
    if (!add_gross(ledger->state, draft->legs, draft->leg_count))
        return STORE_OUT_OF_RANGE;
    enum store_result result = ledger_day(ledger, draft->business_date, &day);
    if (result == STORE_OK)
        result = hash_leaf(ledger, draft, ledger->state->head.last_entry + 1, &hash);
    for (size_t i = 0; i < draft->leg_count && result == STORE_OK; i++)
        result = add_movement(ledger, draft->business_date, draft->legs[i]);
    if (result == STORE_OK)
        result = add_activity(ledger, draft);
    if (result == STORE_OK)
        result = add_reversed(ledger, draft);
    if (result != STORE_OK)
        return result;
    size_t first_leg = unwritten->leg_count;
    struct entry_row *row = PUSH(unwritten, entries, entry_count, entry_capacity);
    if (row == NULL || !push_legs(unwritten, draft->legs, draft->leg_count))
        return STORE_FAILED;
    *entry = ++ledger->state->head.last_entry;
    if (!push_between(ledger, draft, *entry))
        return STORE_FAILED;
    count_in_day(day, draft, *entry, &hash);
    *row = (struct entry_row){
        .scheme = ledger->scheme->id,
        .entry = *entry,
        .business_date = draft->business_date,
        .kind = draft->kind,
        .late = draft->late,
        .site = draft->site,
        .key = draft->key,
        .occurred_at = draft->occurred_at,
        .first_leg = first_leg,
        .leg_count = draft->leg_count,
        .hash = hash,
        .event = draft->event,
    };
    return STORE_OK;
}

static const struct entry_row *last_row(const struct ledger *ledger)
{
    const struct unwritten *unwritten = ledger->unwritten;
    assert(unwritten->entry_count > 0);
    const struct entry_row *row = &unwritten->entries[unwritten->entry_count - 1];
    assert(row->scheme == ledger->scheme->id);
    return row;
}

enum store_result ledger_add_exception(struct ledger *ledger, int32_t position, struct exception exception)
{
    const struct entry_row *entry = last_row(ledger);
    struct exception_row *row = PUSH(ledger->unwritten, exceptions, exception_count, exception_capacity);
    if (row == NULL)
        return STORE_FAILED;
    *row = (struct exception_row){entry->scheme,        entry->entry, position,
                                  entry->business_date, entry->site,  exception};
    return STORE_OK;
}

static enum store_result add_reference(struct ledger *ledger, int32_t host, int64_t referred)
{
    const struct entry_row *entry = last_row(ledger);
    struct reference_row *row = PUSH(ledger->unwritten, references, reference_count, reference_capacity);
    if (row == NULL)
        return STORE_FAILED;
    *row = (struct reference_row){.scheme = entry->scheme,
                                  .host = host,
                                  .referred = referred,
                                  .entry = entry->entry,
                                  .kind = entry->kind};
    return STORE_OK;
}

enum store_result ledger_add_reference(struct ledger *ledger, int64_t referred)
{
    return add_reference(ledger, 0, referred);
}

enum store_result ledger_add_host_dispatch(struct ledger *ledger, int32_t host, int64_t dispatch)
{
    return add_reference(ledger, host, dispatch);
}

enum store_result ledger_add_shipment(struct ledger *ledger, const struct uuid *shipment)
{
    const struct entry_row *entry = last_row(ledger);
    struct fulfilment_row *row = PUSH(ledger->unwritten, fulfilments, fulfilment_count, fulfilment_capacity);
    if (row == NULL)
        return STORE_FAILED;
    *row = (struct fulfilment_row){entry->scheme, entry->entry, *shipment};
    return STORE_OK;
}

enum store_result ledger_add_transfer(struct ledger *ledger, const struct transfer_row *transfer)
{
    struct transfer_row *row = PUSH(ledger->unwritten, transfers, transfer_count, transfer_capacity);
    if (row == NULL)
        return STORE_FAILED;
    *row = *transfer;
    return STORE_OK;
}

enum store_result ledger_add_forfeited(struct ledger *ledger, int32_t cup_type, int64_t cups)
{
    struct forfeited_row *row = PUSH(ledger->unwritten, forfeited, forfeited_count, forfeited_capacity);
    if (row == NULL)
        return STORE_FAILED;
    *row = (struct forfeited_row){ledger->scheme->id, cup_type, cups};
    return STORE_OK;
}

enum store_result ledger_flush(struct ledger *ledger)
{
    return unwritten_flush(ledger->unwritten);
}

enum store_result ledger_begin(struct ledger *ledger)
{
    const struct unwritten *unwritten = ledger->unwritten;
    return unwritten->before_write != NULL ? unwritten->before_write(unwritten->owner) : STORE_OK;
}
