/* SPDX-License-Identifier: ISC */
/* Foresees what the events of a batch will ask of their ledgers, and reads it in one statement each for all
 * schemes. The ledgers would read it as well, but one figure after the other. */
#include "app/posting/prefetch.h"

/* The balances that nobody knows yet. */
struct wanted_balances {
    struct account_balance *items;
    struct ledger **ledgers; /* parallel */
    size_t count;
    struct pairs keys; /* account and scheme of each */
};

static bool want_balance(struct wanted_balances *wanted, struct ledger *ledger, struct account account)
{
    uint32_t position;
    bool added;
    if (ledger_state_find(ledger->state, account.code, &position))
        return true;
    if (!pairs_put(&wanted->keys, (struct pair){account.code, ledger->scheme->id}, &position, &added))
        return false;
    if (!added)
        return true;
    wanted->ledgers[wanted->count] = ledger;
    wanted->items[wanted->count++] =
        (struct account_balance){.scheme = ledger->scheme->id, .account = account.code};
    return true;
}

static bool want_lines(struct wanted_balances *wanted, struct ledger *ledger, const struct site *site,
                       const struct cup_lines *lines)
{
    bool done = true;
    for (size_t i = 0; i < lines->count && done; i++) {
        const struct cup_type *type = network_cup_type(ledger->network, lines->lines[i].cup_type);
        if (type == NULL)
            continue;
        done = want_balance(wanted, ledger, account_of(ACCOUNT_WITH_CUSTOMERS, 0, type->id));
        if (site == NULL)
            continue;
        done = done && want_balance(wanted, ledger, account_of(ACCOUNT_SITE_STOCK, site->id, type->id)) &&
               want_balance(wanted, ledger, account_of(ACCOUNT_DAMAGED, site->id, type->id));
    }
    return done;
}

static enum store_result prefetch_balances(struct pg *pg, struct arena *arena,
                                           const struct foreseen *foreseen)
{
    size_t lines = 0;
    for (size_t i = 0; i < foreseen->count; i++) {
        const struct event *event = foreseen->submissions[i].event;
        lines += event->issued.count + event->returned.count + event->cups.count;
    }
    struct wanted_balances wanted = {
        .items = arena_array(arena, 3 * lines, sizeof *wanted.items),
        .ledgers = arena_array(arena, 3 * lines, sizeof(struct ledger *)),
    };
    if (wanted.items == NULL || wanted.ledgers == NULL)
        return STORE_FAILED;
    pairs_init(&wanted.keys, arena);
    for (size_t i = 0; i < foreseen->count; i++) {
        const struct submission *of = &foreseen->submissions[i];
        struct ledger *ledger = foreseen->ledgers[i];
        if (!want_lines(&wanted, ledger, of->site, &of->event->issued) ||
            !want_lines(&wanted, ledger, of->site, &of->event->returned) ||
            !want_lines(&wanted, ledger, of->site, &of->event->cups))
            return STORE_FAILED;
    }
    enum store_result result = wanted.count > 0 ? store_balances(pg, wanted.items, wanted.count) : STORE_OK;
    for (size_t i = 0; i < wanted.count && result == STORE_OK; i++)
        result =
            ledger_state_learn(wanted.ledgers[i]->state, wanted.items[i].account, wanted.items[i].balance);
    return result;
}

/* Whether the event may ask for a day before those that the writer keeps: its own, or, for an opening, the
 * first. */
static bool asks_for_old_days(const struct calendar *calendar, const struct event *event)
{
    return calendar->count > 0 &&
           (event->kind == KIND_OPENING || event->occurred_at.us < calendar->days[0].starts_at.us);
}

static enum store_result prefetch_calendars(struct pg *pg, struct arena *arena,
                                            const struct foreseen *foreseen)
{
    size_t count = 0;
    struct calendar_request *requests = arena_array(arena, foreseen->count, sizeof *requests);
    if (requests == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < foreseen->count; i++) {
        struct ledger *ledger = foreseen->ledgers[i];
        if (!asks_for_old_days(ledger->calendar, foreseen->submissions[i].event))
            continue;
        struct calendar *whole = arena_alloc(arena, sizeof *whole);
        if (whole == NULL)
            return STORE_FAILED;
        ledger->calendar = whole; /* empty until it is read, so that nothing asks for it twice */
        requests[count++] = (struct calendar_request){ledger->scheme->id, arena, whole};
    }
    return count > 0 ? store_calendars(pg, arena, requests, count, ALL_CLOSED_DAYS) : STORE_OK;
}

/* The day that an event posts to, unless it is a reversal of an event of a later day. NULL: none. */
static const struct business_day *posting_day(const struct ledger *ledger, const struct event *event)
{
    const struct business_day *day = calendar_day_of(ledger->calendar, event->occurred_at);
    return day != NULL ? calendar_posting_day(ledger->calendar, day) : NULL;
}

/* A day that nobody knows yet. */
struct wanted_day {
    struct ledger *ledger;
    struct date date;
};

/* Reads the days, and tells the ledgers. */
static enum store_result read_days(struct pg *pg, struct arena *arena, const struct wanted_day *wanted,
                                   size_t count)
{
    struct day_counters *days = arena_array(arena, count, sizeof *days);
    if (days == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < count; i++)
        days[i] = (struct day_counters){.scheme = wanted[i].ledger->scheme->id, .date = wanted[i].date};
    enum store_result result = count > 0 ? store_day_counters(pg, days, count) : STORE_OK;
    for (size_t i = 0; i < count && result == STORE_OK; i++)
        if (ledger_state_learn_day(wanted[i].ledger->state, &days[i]) == NULL)
            result = STORE_FAILED;
    return result;
}

static enum store_result prefetch_days(struct pg *pg, struct arena *arena, const struct foreseen *foreseen)
{
    size_t count = 0;
    struct wanted_day *wanted = arena_array(arena, foreseen->count, sizeof *wanted);
    struct pairs keys; /* scheme and date of each */
    if (wanted == NULL)
        return STORE_FAILED;
    pairs_init(&keys, arena);
    for (size_t i = 0; i < foreseen->count; i++) {
        uint32_t position;
        bool added;
        struct ledger *ledger = foreseen->ledgers[i];
        const struct business_day *day = posting_day(ledger, foreseen->submissions[i].event);
        if (day == NULL || ledger_state_day(ledger->state, day->date) != NULL)
            continue;
        if (!pairs_put(&keys, (struct pair){ledger->scheme->id, day->date.days}, &position, &added))
            return STORE_FAILED;
        if (added)
            wanted[count++] = (struct wanted_day){ledger, day->date};
    }
    return read_days(pg, arena, wanted, count);
}

enum store_result prefetch(struct pg *pg, struct arena *arena, const struct foreseen *foreseen)
{
    enum store_result result = prefetch_balances(pg, arena, foreseen);
    if (result == STORE_OK)
        result = prefetch_calendars(pg, arena, foreseen);
    return result == STORE_OK ? prefetch_days(pg, arena, foreseen) : result;
}
