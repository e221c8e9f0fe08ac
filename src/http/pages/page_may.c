/* SPDX-License-Identifier: ISC */
/* These follow the rules by which the writer refuses an event (record_check.c), from the tables of kinds and
 * roles and from the facts in the answer. */
#include "http/pages/page_may.h"

#include "base/clock.h"
#include "depositd/access.h"
#include "http/request/json_body.h"

#include <string.h>

static const char *text_of(const struct page_scope *scope, const char *name)
{
    const char *text = json_string_value(page_member(scope, name));
    return text != NULL ? text : "";
}

/* --- proposals ----------------------------------------------------------------------------------------- */

/* A key that is revoked may have been anybody's, so the service is left to decide. */
static bool may_approve(const struct request *request, const struct page_scope *scope)
{
    const struct keyring *keys = &request->snapshot->keys;
    const char *proposer = text_of(scope, "proposed_by"), *at = text_of(scope, "proposed_at");
    struct key_act proposed = {.key = 0}, now = {request->identity->key, clock_now()};
    if (!instant_parse(at, strlen(at), &proposed.at))
        return true;
    for (size_t i = 0; i < keys->count; i++)
        if (strcmp(keys->identities[i].name, proposer) == 0)
            proposed.key = keys->identities[i].key;
    return proposed.key == 0 || !key_acts_by_one_person(&keys->origins, proposed, now);
}

/* --- events -------------------------------------------------------------------------------------------- */

static enum entry_kind kind_of(const struct page_scope *scope)
{
    return entry_kind_parse(text_of(scope, "kind"));
}

static bool is_reversed(const struct page_scope *scope)
{
    return page_member(scope, "reversed_by") != NULL;
}

/* The sum of a member of the lines of a dispatch. */
static json_int_t cups_of(const struct page_scope *scope, const char *name)
{
    size_t index;
    json_t *line;
    json_int_t sum = 0;
    json_array_foreach(page_member(scope, "transfer"), index, line) sum +=
        json_integer_value(json_object_get(line, name));
    return sum;
}

/* Whether the key may post the kind at the site, now. */
static bool may_post(const struct request *request, enum entry_kind kind, const char *site_code)
{
    const struct network *network = &request->snapshot->network;
    const struct site *site = network_site(network, site_code);
    const struct date today = instant_date(clock_now());
    unsigned role = 1u << request->identity->role;
    if (site != NULL && network->scheme_by_id[site->scheme]->closed_on.days < today.days &&
        (entry_kind_posters_after_end(kind) & role) == 0)
        return false;
    return access_post(request->identity, kind, site, today) == REASON_NONE;
}

/* A till undoes only what it may itself post, while the day is open. */
static bool may_reverse(const struct request *request, const struct page_scope *scope)
{
    enum entry_kind kind = kind_of(scope);
    bool bound = !identity_has_all(request->identity);
    bool undone_so =
        entry_kind_undo(kind) == UNDO_REVERSAL ||
        (entry_kind_undo(kind) == UNDO_WHILE_LAST && json_is_false(page_member(scope, "followed")));
    bool arrived = cups_of(scope, "received") + cups_of(scope, "lost") > 0;
    if (!undone_so || is_reversed(scope) || arrived || (bound && page_member(scope, "settlement") != NULL))
        return false;
    return may_post(request, KIND_REVERSAL, text_of(scope, "site")) &&
           (!bound || may_post(request, kind, text_of(scope, "site")));
}

static bool is_on_the_road(const struct page_scope *scope)
{
    return entry_kind_effect(kind_of(scope)) == EFFECT_SENT && !is_reversed(scope) &&
           cups_of(scope, "in_transit") > 0;
}

static bool may_receive(const struct request *request, const struct page_scope *scope)
{
    return is_on_the_road(scope) && may_post(request, KIND_RECEIPT, text_of(scope, "to"));
}

static bool may_give_up(const struct request *request, const struct page_scope *scope)
{
    return is_on_the_road(scope) && may_post(request, KIND_TRANSIT_LOSS, text_of(scope, "site"));
}

/* --- shipments ----------------------------------------------------------------------------------------- */

static bool waits_for_sender(const struct request *request, const struct page_scope *scope)
{
    size_t index;
    json_t *actor;
    (void)request;
    json_array_foreach(page_member(scope, "waits_for"), index,
                       actor) if (json_is_string(actor) &&
                                  strcmp(json_string_value(actor), "sender") == 0) return true;
    return false;
}

static bool may_send(const struct request *request, const struct page_scope *scope)
{
    return waits_for_sender(request, scope) && may_post(request, KIND_DISPATCH, text_of(scope, "site"));
}

static const struct {
    const char *what;
    bool (*may)(const struct request *request, const struct page_scope *scope);
} questions[] = {
    {MAY_APPROVE, may_approve}, {MAY_REVERSE, may_reverse}, {MAY_RECEIVE, may_receive},
    {MAY_GIVE_UP, may_give_up}, {MAY_SEND, may_send},       {WAITS_FOR_SENDER, waits_for_sender},
};

bool page_may(const struct request *request, const char *what, const struct page_scope *scope, bool *known)
{
    for (size_t i = 0; i < sizeof questions / sizeof questions[0]; i++)
        if (strcmp(questions[i].what, what) == 0) {
            *known = true;
            return questions[i].may(request, scope);
        }
    *known = false;
    return false;
}
