/* SPDX-License-Identifier: ISC */
/* The known events by their ids, the balances that a run of events needs, and the rows that wait to be
 * written. */
#include "app/posting/scheme_ledger.h"

#include <string.h>

static struct pair event_key(const struct uuid *id)
{
    struct pair key;
    memcpy(&key, id->bytes, sizeof key);
    return key;
}

void scheme_ledger_open(struct scheme_ledger *scheme_ledger)
{
    pairs_init(&scheme_ledger->event_keys, scheme_ledger->ledger.arena);
}

enum store_result scheme_ledger_remember(struct scheme_ledger *scheme_ledger,
                                         const struct remembered_event *event)
{
    uint32_t position;
    bool added;
    if (!pairs_put(&scheme_ledger->event_keys, event_key(&event->known.id), &position, &added) ||
        !arena_grow(scheme_ledger->ledger.arena, &scheme_ledger->events, position,
                    &scheme_ledger->event_capacity, sizeof *scheme_ledger->events))
        return STORE_FAILED;
    scheme_ledger->events[position] = *event;
    if (event->known.is_opening && event->known.standing == STANDING_PROPOSED)
        scheme_ledger->opening_pending = true;
    return STORE_OK;
}

enum store_result scheme_ledger_know(struct scheme_ledger *scheme_ledger, const struct known_event *known,
                                     size_t count)
{
    enum store_result result = STORE_OK;
    for (size_t i = 0; i < count && result == STORE_OK; i++)
        result = scheme_ledger_remember(scheme_ledger, &(struct remembered_event){.known = known[i]});
    return result;
}

const struct remembered_event *scheme_ledger_find(const struct scheme_ledger *scheme_ledger,
                                                  const struct uuid *id)
{
    uint32_t position;
    return pairs_find(&scheme_ledger->event_keys, event_key(id), &position) ? &scheme_ledger->events[position]
                                                                            : NULL;
}

static void add_line_accounts(const struct network *network, const struct site *site,
                              const struct cup_lines *lines, int64_t *accounts, size_t *count)
{
    for (size_t i = 0; i < lines->count; i++) {
        const struct cup_type *type = network_cup_type(network, lines->lines[i].cup_type);
        if (type == NULL)
            continue;
        accounts[(*count)++] = account_of(ACCOUNT_WITH_CUSTOMERS, 0, type->id).code;
        if (site == NULL)
            continue;
        accounts[(*count)++] = account_of(ACCOUNT_SITE_STOCK, site->id, type->id).code;
        accounts[(*count)++] = account_of(ACCOUNT_DAMAGED, site->id, type->id).code;
    }
}

enum store_result scheme_ledger_prefetch(struct scheme_ledger *scheme_ledger,
                                         const struct submission *submissions, size_t count)
{
    struct ledger *ledger = &scheme_ledger->ledger;
    struct pairs wanted;
    size_t lines = 0, account_count = 0, distinct = 0;
    for (size_t i = 0; i < count; i++)
        lines += submissions[i].event->issued.count + submissions[i].event->returned.count +
                 submissions[i].event->cups.count;
    int64_t *accounts = arena_array(ledger->arena, 3 * lines + 1, sizeof *accounts);
    if (accounts == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < count; i++) {
        const struct event *event = submissions[i].event;
        add_line_accounts(ledger->network, submissions[i].site, &event->issued, accounts, &account_count);
        add_line_accounts(ledger->network, submissions[i].site, &event->returned, accounts, &account_count);
        add_line_accounts(ledger->network, submissions[i].site, &event->cups, accounts, &account_count);
    }
    pairs_init(&wanted, ledger->arena);
    for (size_t i = 0; i < account_count; i++) {
        uint32_t position;
        bool added;
        if (!pairs_put(&wanted, (struct pair){accounts[i], 0}, &position, &added))
            return STORE_FAILED;
        if (added)
            accounts[distinct++] = accounts[i];
    }
    return ledger_prefetch(ledger, accounts, distinct);
}

enum store_result scheme_ledger_propose(struct scheme_ledger *scheme_ledger, const struct proposal_row *row)
{
    if (!arena_grow(scheme_ledger->ledger.arena, &scheme_ledger->proposals, scheme_ledger->proposal_count,
                    &scheme_ledger->proposal_capacity, sizeof *scheme_ledger->proposals))
        return STORE_FAILED;
    scheme_ledger->proposals[scheme_ledger->proposal_count++] = *row;
    return STORE_OK;
}

/* A writer that keeps a copy of the scheme's calendar also keeps its proposals; the calendar's version stands
 * for both. */
enum store_result scheme_ledger_write_proposals(struct scheme_ledger *scheme_ledger)
{
    struct ledger *ledger = &scheme_ledger->ledger;
    enum store_result result = STORE_OK;
    for (size_t i = 0; i < scheme_ledger->proposal_count && result == STORE_OK; i++)
        result =
            store_proposal_add(ledger->pg, ledger->scheme->id, ledger->now, &scheme_ledger->proposals[i]);
    if (result == STORE_OK && scheme_ledger->proposal_count > 0)
        result = store_calendar_changed(ledger->pg, ledger->scheme->id);
    return result;
}
