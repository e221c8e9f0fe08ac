/* SPDX-License-Identifier: ISC */
/* Requests are kept under the head row of their scheme. So a dispatch that names a shipment, and the request
 * of that shipment, are recorded one after the other, and the lists have both. */
#include "app/cups/shipments.h"

#include <stdio.h>
#include <string.h>

enum { POINTER_MAX = 96 };

const char *const shipment_states[] = {"open",    "requested", "in_transit", "short",
                                       "arrived", "withdrawn", NULL};
const char *const shipment_actors[] = {"sender", "receiver", "accountant", NULL};

/* --- asking ----------------------------------------------------------------------------------------------
 */

struct asking {
    struct head_work *work;
    struct shipments_asked *asked;
    struct faults *faults;
    struct shipment_row *rows; /* of all wishes */
    bool *is_known;
    struct shipment_cups_row *cups; /* of the new ones */
    size_t cup_count;
};

static void refuse(const struct asking *asking, size_t index, enum reason reason, const char *member,
                   const char *detail)
{
    char pointer[POINTER_MAX];
    snprintf(pointer, sizeof pointer, "/shipments/%zu%s", index, member);
    faults_add(asking->faults, reason, pointer, "%s", detail);
}

/* Cups that visit may be sent home, once anything was agreed for them. */
static bool is_home(const struct asking *asking, const struct site *receiver, struct date wanted_on)
{
    const struct head_work *work = asking->work;
    return network_agreement(work->network, receiver->scheme, work->scheme->id, wanted_on) != NULL;
}

/* 0: a fault was added. */
static int32_t find_sender(const struct asking *asking, size_t index, const char *code)
{
    const struct site *site = network_site(asking->work->network, code);
    if (site == NULL)
        refuse(asking, index, REASON_SITE_UNKNOWN, "/site", "there is no such site");
    else if (site->scheme != asking->work->scheme->id)
        refuse(asking, index, REASON_SITE_IN_OTHER_SCHEME, "/site", "the site belongs to another scheme");
    else
        return site->id;
    return 0;
}

static int32_t find_receiver(const struct asking *asking, size_t index, const struct shipment_wish *wish)
{
    const struct site *site = network_site(asking->work->network, wish->to);
    bool elsewhere = site != NULL && site->scheme != asking->work->scheme->id;
    if (site == NULL)
        refuse(asking, index, REASON_SITE_UNKNOWN, "/to", "there is no such site");
    else if (elsewhere && !is_home(asking, site, wish->wanted_on))
        refuse(asking, index, REASON_SITE_IN_OTHER_SCHEME, "/to",
               "the site belongs to another scheme, with which nothing was agreed for cups that visit");
    else if (elsewhere && wish->bearer != BEARER_NONE)
        refuse(asking, index, REASON_BEARER_IN_OTHER_SCHEME, "/bearer",
               "only the receiver's scheme decides who bears what is lost on the way to it");
    else
        return site->id;
    return 0;
}

/* The day on which the receiver's scheme would receive the cups, at the earliest. *begun: it has begun. */
static enum store_result find_arrival(const struct asking *asking, size_t index, struct date *day,
                                      bool *begun)
{
    const struct head_work *work = asking->work;
    const struct shipment_wish *wish = &asking->asked->wishes[index];
    const struct site *receiver = network_site(work->network, wish->to);
    enum store_result result = store_posting_day(work->pg, receiver->scheme, work->now, day, begun);
    if (*begun && wish->wanted_on.days > day->days)
        *day = wish->wanted_on;
    return result;
}

/* Refuses cups that another scheme could not receive, as a dispatch of them would be. */
static enum store_result check_home(const struct asking *asking, size_t index)
{
    char member[POINTER_MAX / 2];
    struct date day;
    bool begun = false;
    struct money value;
    const struct shipment_wish *wish = &asking->asked->wishes[index];
    const struct network *network = asking->work->network;
    const struct site *receiver = network_site(network, wish->to);
    if (receiver == NULL || receiver->scheme == asking->work->scheme->id)
        return STORE_OK;
    enum store_result result = find_arrival(asking, index, &day, &begun);
    if (result == STORE_OK && !begun)
        refuse(asking, index, REASON_BEFORE_FIRST_DAY, "/to", "the receiver's scheme has not begun yet");
    for (size_t i = 0; i < wish->cups.count && result == STORE_OK && begun; i++) {
        const struct cup_type *type = network_cup_type(network, wish->cups.lines[i].cup_type);
        snprintf(member, sizeof member, "/cups/%zu/cup_type", i);
        if (type != NULL && !scheme_value(network->scheme_by_id[receiver->scheme], type->id, day, &value))
            refuse(asking, index, REASON_NO_REFUND_VALUE, member,
                   "the cup type has no refund value in that scheme on the day to which it would post");
    }
    return result;
}

static void find_cups(struct asking *asking, size_t index)
{
    char member[POINTER_MAX / 2];
    const struct shipment_wish *wish = &asking->asked->wishes[index];
    for (size_t i = 0; i < wish->cups.count; i++) {
        const struct cup_line *line = &wish->cups.lines[i];
        const struct cup_type *type = network_cup_type(asking->work->network, line->cup_type);
        if (type == NULL) {
            snprintf(member, sizeof member, "/cups/%zu/cup_type", i);
            refuse(asking, index, REASON_CUP_TYPE_UNKNOWN, member, "there is no such cup type");
            continue;
        }
        asking->cups[asking->cup_count++] =
            (struct shipment_cups_row){wish->id, type->id, line->damaged, line->quantity.count};
    }
}

static void find_row(struct asking *asking, size_t index)
{
    const struct shipment_wish *wish = &asking->asked->wishes[index];
    struct shipment_row *row = &asking->rows[index];
    *row = (struct shipment_row){.id = wish->id,
                                 .digest = wish->digest,
                                 .wanted_on = wish->wanted_on,
                                 .note = wish->note,
                                 .bearer = bearer_word(wish->bearer)};
    row->sender = find_sender(asking, index, wish->site);
    row->receiver = find_receiver(asking, index, wish);
    if (row->sender != 0 && row->sender == row->receiver)
        refuse(asking, index, REASON_SAME_SITE, "/to", "is the site itself");
    for (size_t before = 0; before < index; before++)
        if (memcmp(&wish->id, &asking->asked->wishes[before].id, sizeof wish->id) == 0)
            refuse(asking, index, REASON_VALUE_REPEATED, "/shipment", "stands in the list already");
}

/* Marks those that were asked for before. */
static enum store_result find_known(struct asking *asking)
{
    struct known_shipments known;
    struct shipments_asked *asked = asking->asked;
    enum store_result result = store_shipments_known(asking->work->pg, &asking->work->arena, asked->scheme,
                                                     asking->rows, asked->count, &known);
    if (result != STORE_OK)
        return result;
    for (size_t i = 0; i < known.count; i++) {
        size_t index = (size_t)known.items[i].place - 1;
        const struct sha256 *stated = &asked->wishes[index].digest;
        asking->is_known[index] = true;
        if (memcmp(&known.items[i].digest, stated, sizeof *stated) != 0)
            refuse(asking, index, REASON_SHIPMENT_CONFLICT, "/shipment",
                   "the id belongs to a shipment that was asked for otherwise");
    }
    asked->known = known.count;
    return STORE_OK;
}

static bool make_room(struct asking *asking)
{
    size_t cups = 0;
    struct arena *arena = &asking->work->arena;
    for (size_t i = 0; i < asking->asked->count; i++)
        cups += asking->asked->wishes[i].cups.count;
    asking->rows = arena_array(arena, asking->asked->count + 1, sizeof *asking->rows);
    asking->is_known = arena_array(arena, asking->asked->count + 1, sizeof *asking->is_known);
    asking->cups = arena_array(arena, cups + 1, sizeof *asking->cups);
    return asking->rows != NULL && asking->is_known != NULL && asking->cups != NULL;
}

/* Leaves the new ones, *count. */
static enum store_result keep_new(struct asking *asking, size_t *count)
{
    enum store_result result = STORE_OK;
    *count = 0;
    for (size_t i = 0; i < asking->asked->count && result == STORE_OK; i++) {
        if (asking->is_known[i])
            continue;
        find_cups(asking, i);
        result = check_home(asking, i);
        asking->rows[(*count)++] = asking->rows[i];
    }
    return result;
}

static enum store_result ask_under_head(void *context, struct head_work *work, struct faults *faults)
{
    struct asking asking = {.work = work, .asked = context, .faults = faults};
    if (!make_room(&asking))
        return STORE_FAILED;
    memset(asking.is_known, 0, asking.asked->count * sizeof *asking.is_known);
    for (size_t i = 0; i < asking.asked->count; i++)
        find_row(&asking, i);
    enum store_result result = find_known(&asking);
    if (result != STORE_OK || faults->count > 0)
        return result;
    size_t count;
    result = keep_new(&asking, &count);
    if (result != STORE_OK || count == 0 || faults->count > 0)
        return result;
    result = store_shipments_add(work->pg, work->scheme->id, work->key, work->now, asking.rows, count);
    return result == STORE_OK
               ? store_shipment_cups_add(work->pg, work->scheme->id, asking.cups, asking.cup_count)
               : result;
}

static enum store_result view_asked(void *context, struct pg *pg)
{
    const struct shipments_asked *asked = context;
    return asked->view(asked->context, pg);
}

enum store_result shipments_request(struct pg *pg, struct snapshot_cache *snapshots,
                                    struct shipments_asked *asked, struct faults *faults)
{
    const struct head_order order = {
        .scheme = asked->scheme,
        .key = asked->key,
        .dry_run = asked->dry_run,
        .work = ask_under_head,
        .view = view_asked,
        .context = asked,
    };
    return head_work_run(pg, snapshots, &order, faults);
}

/* --- withdrawing -----------------------------------------------------------------------------------------
 */

/* The receiver's scheme moves the request as well, under the row of the two schemes. So a withdrawal holds
 * that row, but does not wait for it under the head. */
static enum store_result hold_pair(const struct head_work *work, const struct shipment_standing *standing)
{
    bool held = true;
    enum store_result result = STORE_OK;
    if (standing->receiving != standing->scheme)
        result = store_pair_hold(work->pg, standing->scheme, standing->receiving, &held);
    return result == STORE_OK && !held ? STORE_CONFLICT : result;
}

static enum store_result withdraw_under_head(void *context, struct head_work *work, struct faults *faults)
{
    const struct shipment_withdrawing *withdrawing = context;
    struct shipment_standing standing;
    size_t found;
    enum store_result result =
        store_shipment_find(work->pg, &work->arena, &withdrawing->id, withdrawing->scheme, &standing, &found);
    if (result != STORE_OK)
        return result;
    if (found == 0) {
        faults_refuse(faults, REASON_NOT_FOUND);
        return STORE_OK;
    }
    if (standing.withdrawn && standing.withdrawn_by == withdrawing->key && standing.why != NULL &&
        strcmp(standing.why, withdrawing->why) == 0)
        return STORE_OK;
    if (!standing.to_send) {
        faults_refuse(faults, REASON_SHIPMENT_DONE);
        return STORE_OK;
    }
    standing.withdrawn_by = withdrawing->key;
    standing.why = withdrawing->why;
    result = hold_pair(work, &standing);
    return result == STORE_OK ? store_shipment_withdraw(work->pg, &standing, work->now) : result;
}

static enum store_result view_withdrawn(void *context, struct pg *pg)
{
    const struct shipment_withdrawing *withdrawing = context;
    return withdrawing->view(withdrawing->context, pg);
}

enum store_result shipment_withdraw(struct pg *pg, struct snapshot_cache *snapshots,
                                    struct shipment_withdrawing *withdrawing, struct faults *faults)
{
    const struct head_order order = {
        .scheme = withdrawing->scheme,
        .key = withdrawing->key,
        .dry_run = withdrawing->dry_run,
        .work = withdraw_under_head,
        .view = view_withdrawn,
        .context = withdrawing,
    };
    return head_work_run(pg, snapshots, &order, faults);
}
