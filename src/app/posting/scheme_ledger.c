/* SPDX-License-Identifier: ISC */
/* The known events by their ids, and the proposals that wait to be written. */
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

enum store_result scheme_ledger_know(struct scheme_ledger *scheme_ledger, const struct known_event *known)
{
    return scheme_ledger_remember(scheme_ledger, &(struct remembered_event){.known = *known});
}

const struct remembered_event *scheme_ledger_find(const struct scheme_ledger *scheme_ledger,
                                                  const struct uuid *id)
{
    uint32_t position;
    return pairs_find(&scheme_ledger->event_keys, event_key(id), &position) ? &scheme_ledger->events[position]
                                                                            : NULL;
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
