/* SPDX-License-Identifier: ISC */
/* An opening states where all cups are. Its lines, one for each place and one for the sum of each cup type,
 * become the entry's legs. */
#include "app/posting/record_opening.h"

#include <stdio.h>
#include <string.h>

enum { POINTER_MAX = 96 };

static void refuse(struct recording *recording, enum reason reason, const char *pointer, const char *detail)
{
    faults_add(recording->faults, reason, pointer, "%s", detail);
}

static void refuse_member(struct recording *recording, enum reason reason, const char *list, size_t i,
                          const char *member, const char *detail)
{
    char pointer[POINTER_MAX];
    snprintf(pointer, sizeof pointer, "/%s/%zu/%s", list, i, member);
    refuse(recording, reason, pointer, detail);
}

enum reason record_opening_refusal(const struct calendar *calendar, const struct business_day *occurrence,
                                   enum last_entry last)
{
    if (last != LAST_IS_NONE && last != LAST_IS_REVERSED_OPENING)
        return REASON_OPENING_TOO_LATE;
    if (occurrence != calendar->days)
        return REASON_OPENING_NOT_ON_FIRST_DAY;
    return occurrence->state == DAY_OPEN ? REASON_NONE : REASON_FIRST_DAY_CLOSED;
}

static enum store_result check_when(struct recording *recording)
{
    struct ledger *ledger = recording->ledger;
    enum last_entry last = LAST_IS_NONE;
    enum store_result result = ledger_flush(ledger);
    if (result == STORE_OK && ledger->state->head.last_entry > 0)
        result = store_opening_last(ledger->pg, ledger->scheme->id, &last);
    if (result != STORE_OK || recording->occurrence == NULL)
        return result;
    enum reason reason = record_opening_refusal(ledger->calendar, recording->occurrence, last);
    if (reason == REASON_OPENING_TOO_LATE)
        refuse(recording, reason, "",
               "the scheme has entries already, and an opening comes before any other");
    else if (reason == REASON_OPENING_NOT_ON_FIRST_DAY)
        refuse(recording, reason, "/occurred_at", "does not lie in the scheme's first business day");
    else if (reason == REASON_FIRST_DAY_CLOSED)
        refuse(recording, reason, "/occurred_at",
               "the scheme's first business day is closed; set up a scheme whose first terms begin on an "
               "open day");
    return STORE_OK;
}

/* NULL: there is no such site in the scheme, or it was not open yet, and a fault was added. */
static const struct site *find_site(struct recording *recording, const char *code, const char *list, size_t i,
                                    const char *member)
{
    const struct site *site = network_site(recording->ledger->network, code);
    if (site == NULL)
        refuse_member(recording, REASON_SITE_UNKNOWN, list, i, member, "there is no such site");
    else if (site->scheme != recording->ledger->scheme->id)
        refuse_member(recording, REASON_SITE_IN_OTHER_SCHEME, list, i, member,
                      "the site belongs to another scheme");
    else if (recording->occurrence != NULL && site->opened_on.days > recording->occurrence->date.days)
        refuse_member(recording, REASON_SITE_NOT_OPEN, list, i, member, "the site opened on a later day");
    else
        return site;
    return NULL;
}

/* Adds a line of cups, and nothing if the cup type is not known or has no value; then a fault was added. */
static void add_line(struct recording *recording, enum line_list list, const struct cup_line *cups,
                     int32_t site, const char *pointer)
{
    const struct ledger *ledger = recording->ledger;
    const struct cup_type *type = network_cup_type(ledger->network, cups->cup_type);
    struct posting_line line = {.list = list, .damaged = cups->damaged, .n = cups->quantity, .site = site};
    if (type == NULL) {
        refuse(recording, REASON_CUP_TYPE_UNKNOWN, pointer, "there is no such cup type");
        return;
    }
    line.cup_type = type->id;
    if (recording->posting == NULL)
        return;
    if (!scheme_value(ledger->scheme, type->id, recording->posting->date, &line.value)) {
        refuse(recording, REASON_NO_REFUND_VALUE, pointer,
               "the cup type has no refund value on the day to which the event posts");
        return;
    }
    line.tariff = line.value;
    recording->lines[recording->line_count++] = line;
}

static void add_places(struct recording *recording)
{
    static const enum line_list lists[] = {[PLACE_AT_SITE] = LIST_OPENED_AT_SITE,
                                           [PLACE_WITH_CUSTOMERS] = LIST_OPENED_OUT,
                                           [PLACE_RETIRED] = LIST_OPENED_RETIRED,
                                           [PLACE_UNACCOUNTED] = LIST_OPENED_UNACCOUNTED};
    const struct opening *opening = recording->event->opening;
    char pointer[POINTER_MAX];
    for (size_t i = 0; i < opening->place_count; i++) {
        const struct place_line *place = &opening->places[i];
        const struct site *site = NULL;
        if (place->place == PLACE_AT_SITE)
            site = find_site(recording, place->site, "places", i, "site");
        snprintf(pointer, sizeof pointer, "/places/%zu/cup_type", i);
        add_line(recording, lists[place->place], &place->cups, site != NULL ? site->id : 0, pointer);
    }
}

static void add_shipments(struct recording *recording)
{
    const struct opening *opening = recording->event->opening;
    char pointer[POINTER_MAX];
    for (size_t i = 0; i < opening->shipment_count; i++) {
        const struct shipment *shipment = &opening->shipments[i];
        (void)find_site(recording, shipment->site, "shipments", i, "site");
        (void)find_site(recording, shipment->to, "shipments", i, "to");
        for (size_t c = 0; c < shipment->cups.count; c++) {
            snprintf(pointer, sizeof pointer, "/shipments/%zu/cups/%zu/cup_type", i, c);
            add_line(recording, LIST_OPENED_TRANSIT, &shipment->cups.lines[c], 0, pointer);
        }
    }
}

/* Adds the sum of each cup type over the lines so far. */
static enum store_result add_types(struct recording *recording)
{
    const struct ledger *ledger = recording->ledger;
    size_t count = recording->line_count, types = 0;
    struct posting_line **sum_of =
        arena_array(ledger->arena, (size_t)ledger->network->cup_type_ids + 1, sizeof *sum_of);
    if (sum_of == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < count; i++) {
        const struct posting_line *line = &recording->lines[i];
        struct posting_line **sum = &sum_of[line->cup_type];
        if (*sum == NULL) {
            *sum = &recording->lines[count + types++];
            **sum = (struct posting_line){.list = LIST_OPENED_TYPE,
                                          .cup_type = line->cup_type,
                                          .value = line->value,
                                          .tariff = line->value};
        }
        (*sum)->n.count += line->n.count; /* some ten thousand bounded quantities: no overflow */
    }
    recording->line_count += types;
    return STORE_OK;
}

static enum store_result find_lines(struct recording *recording)
{
    const struct opening *opening = recording->event->opening;
    size_t most = opening->place_count;
    for (size_t i = 0; i < opening->shipment_count; i++)
        most += opening->shipments[i].cups.count;
    recording->lines = arena_array(recording->ledger->arena, 2 * most + 1, sizeof *recording->lines);
    if (recording->lines == NULL)
        return STORE_FAILED;
    add_places(recording);
    add_shipments(recording);
    return add_types(recording);
}

static void check_decimals(struct recording *recording, struct decimal amount, const char *pointer)
{
    const struct currency *currency = recording->ledger->scheme->currency;
    if (amount.scale != currency->decimals)
        faults_add(recording->faults, REASON_AMOUNT_DECIMALS, pointer, "%s has %u decimals", currency->code,
                   currency->decimals);
}

/* By participant id: whether it has a site in the scheme. NULL: out of memory. */
static const bool *find_members(const struct recording *recording)
{
    const struct network *network = recording->ledger->network;
    bool *is_member =
        arena_array(recording->ledger->arena, (size_t)network->participant_ids + 1, sizeof *is_member);
    for (size_t i = 0; i < network->site_count && is_member != NULL; i++)
        if (network->sites[i].scheme == recording->ledger->scheme->id)
            is_member[network->sites[i].participant] = true;
    return is_member;
}

static enum store_result find_due(struct recording *recording)
{
    const struct opening *opening = recording->event->opening;
    const bool *is_member = find_members(recording);
    struct due *due = arena_array(recording->ledger->arena, opening->due_count + 1, sizeof *due);
    char pointer[POINTER_MAX];
    if (is_member == NULL || due == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < opening->due_count; i++) {
        const struct stated_due *stated = &opening->due[i];
        const struct participant *participant =
            network_participant(recording->ledger->network, stated->participant);
        if (participant == NULL)
            refuse_member(recording, REASON_PARTICIPANT_UNKNOWN, "due", i, "participant",
                          "there is no such participant");
        else if (!is_member[participant->id])
            refuse_member(recording, REASON_PARTICIPANT_ELSEWHERE, "due", i, "participant",
                          "has no site in the scheme");
        snprintf(pointer, sizeof pointer, "/due/%zu/amount", i);
        check_decimals(recording, stated->amount, pointer);
        due[i] = (struct due){participant != NULL ? participant->id : 0, {stated->amount.unscaled}};
    }
    recording->facts.due = due;
    recording->facts.due_count = opening->due_count;
    return STORE_OK;
}

/* A shipment's id must be new: to the ledger, among proposals, and to the opening itself. */
static enum store_result check_ids(struct recording *recording)
{
    const struct opening *opening = recording->event->opening;
    struct ledger *ledger = recording->ledger;
    struct uuid *taken;
    size_t taken_count = 0;
    enum store_result result = store_ids_taken(
        ledger->pg, ledger->arena, ledger->scheme->id,
        arg_uuids(COLUMN(opening->shipments, opening->shipment_count, dispatch)), &taken, &taken_count);
    for (size_t i = 0; i < opening->shipment_count && result == STORE_OK; i++) {
        const struct uuid *id = &opening->shipments[i].dispatch;
        bool known = memcmp(id, &recording->event->id, sizeof *id) == 0 ||
                     scheme_ledger_find(recording->scheme_ledger, id) != NULL;
        for (size_t t = 0; t < taken_count && !known; t++)
            known = memcmp(id, &taken[t], sizeof *id) == 0;
        if (known)
            refuse_member(recording, REASON_EVENT_ID_CONFLICT, "shipments", i, "dispatch",
                          "the id belongs to another event");
    }
    return result;
}

enum store_result record_opening(struct recording *recording)
{
    enum store_result result = check_when(recording);
    if (result == STORE_OK)
        result = find_lines(recording);
    check_decimals(recording, recording->event->opening->bank, "/bank");
    recording->facts.amount.minor = recording->event->opening->bank.unscaled;
    if (result == STORE_OK)
        result = find_due(recording);
    return result == STORE_OK && recording->event->opening->shipment_count > 0 ? check_ids(recording)
                                                                               : result;
}
