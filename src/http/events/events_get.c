/* SPDX-License-Identifier: ISC */
/* Reads events: a single event by its id, any entry by its number, and the list in entry order. With only a
 * scheme as a parameter, the list is the feed. */
#include "http/events/handlers.h"

#include "http/request/slice.h"
#include "http/request/visible.h"
#include "store/feed_store.h"

#include <stdlib.h>
#include <string.h>

/* The scheme of all the sites given; NULL: there are no sites, or they are of several schemes. */
static const struct scheme *sole_scheme(const struct request *request, const struct visible_sites *visible)
{
    const struct network *network = &request->snapshot->network;
    int32_t scheme = 0;
    for (size_t i = 0; !visible->all && i < visible->count; i++) {
        const struct site *site = network->site_by_id[visible->ids[i]];
        if (scheme != 0 && scheme != site->scheme)
            return NULL;
        scheme = site->scheme;
    }
    return scheme != 0 ? network->scheme_by_id[scheme] : NULL;
}

/* Reads ?scheme=. A key whose sites are all of one scheme may leave it out. */
static const struct scheme *events_scheme(const struct request *request, struct answer *answer,
                                          const struct visible_sites *visible)
{
    const char *code = request_query(request, "scheme");
    const struct scheme *sole = code == NULL ? sole_scheme(request, visible) : NULL;
    return sole != NULL ? sole : request_scheme(request, answer, code);
}

static void site_asked(const struct request *request, struct answer *answer, struct events_filter *filter)
{
    const char *code = request_query(request, "site");
    if (code == NULL)
        return;
    const struct site *site = network_site(&request->snapshot->network, code);
    if (site == NULL || !identity_has_site(request->identity, site))
        answer_not_found(answer);
    else
        filter->site = site->id;
}

static void kind_asked(const struct request *request, struct answer *answer, struct events_filter *filter)
{
    const char *word = request_query(request, "kind");
    if (word == NULL)
        return;
    for (int kind = 1; kind < KIND_LIMIT && filter->kind == KIND_NONE; kind++) {
        const char *known = entry_kind_word((enum entry_kind)kind);
        if (known != NULL && strcmp(known, word) == 0)
            filter->kind = (enum entry_kind)kind;
    }
    if (filter->kind == KIND_NONE)
        faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "kind", "is no kind of entry");
}

/* ?business_date= sets both ends at once. Any ?from= and ?to= beside it limit the days further. */
static bool days_asked(const struct request *request, struct answer *answer, struct date *from,
                       struct date *to)
{
    struct date day = {INT32_MIN};
    if (!request_date(request, answer, "from", from) || !request_date(request, answer, "to", to) ||
        !request_date(request, answer, "business_date", &day))
        return false;
    if (day.days != INT32_MIN) {
        *from = day.days > from->days ? day : *from;
        *to = to->days == INT32_MAX || day.days < to->days ? day : *to;
    }
    return true;
}

/* Pages, and answers in an order that was asked for, are lists and no feed. A key that sees only some sites
 * gets its own entries, without the cuts of days. */
static void list_events(const struct request *request, struct answer *answer,
                        const struct events_filter *filter)
{
    struct list_slice slice;
    bool is_feed = !slice_goes_both_ways(request, answer->media) && filter->site == 0 &&
                   filter->kind == KIND_NONE && filter->from == NULL && filter->to == NULL &&
                   filter->reference == NULL && filter->late == NULL;
    bool has_cuts = is_feed && filter->visible.all;
    if (!(has_cuts ? slice_begin_feed : slice_begin)(request, answer, &slice))
        return;
    enum store_result result = has_cuts ? read_feed(request->pg, request->arena, filter->scheme, &slice)
                                        : read_events(request->pg, filter, &slice);
    slice.more |= is_feed; /* a feed goes on when something new has come */
    slice_end(request, answer, result, &slice);
}

void handle_events_list(const struct request *request, struct answer *answer)
{
    struct events_filter filter = {.reference = request_query(request, "reference")};
    struct date from = {INT32_MIN}, to = {INT32_MAX};
    bool late;
    if (!request_visible(request, answer, &filter.visible))
        return;
    const struct scheme *scheme = events_scheme(request, answer, &filter.visible);
    if (scheme == NULL || !days_asked(request, answer, &from, &to) ||
        !request_flag(request, answer, "late", &late, &filter.late))
        return;
    site_asked(request, answer, &filter);
    kind_asked(request, answer, &filter);
    if (answer->faults.count > 0)
        return;
    filter.scheme = scheme->id;
    filter.from = from.days != INT32_MIN ? &from : NULL;
    filter.to = to.days != INT32_MAX ? &to : NULL;
    list_events(request, answer, &filter);
}

void handle_event_get(const struct request *request, struct answer *answer)
{
    struct uuid id;
    struct visible_sites visible;
    const char *code = request_query(request, "scheme"), *text = request->parts[0];
    const struct scheme *scheme = NULL;
    size_t found = 0;
    if (!request_visible(request, answer, &visible))
        return;
    if (code != NULL && (scheme = request_scheme(request, answer, code)) == NULL)
        return;
    if (!uuid_parse(text, strlen(text), &id)) {
        answer_not_found(answer);
        return;
    }
    enum store_result result =
        read_event(request->pg, &id, scheme != NULL ? scheme->id : 0, &visible, &answer->body, &found);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (found == 0)
        answer_not_found(answer);
    else if (found > 1)
        faults_add_parameter(&answer->faults, REASON_PARAMETER_MISSING, "scheme",
                             "several schemes have an event with this id");
}

/* Reads up to 18 digits, because no scheme has more entries. 0: this is not the number of an entry. */
static int64_t entry_number(const char *text)
{
    size_t length = strlen(text);
    bool is_number = length <= 18 && text[0] >= '1' && strspn(text, "0123456789") == length;
    return is_number ? strtoll(text, NULL, 10) : 0;
}

void handle_entry_get(const struct request *request, struct answer *answer)
{
    struct visible_sites visible;
    bool found = false;
    enum store_result result = STORE_OK;
    int64_t entry = entry_number(request->parts[0]);
    const struct scheme *scheme = request_scheme(request, answer, request_query(request, "scheme"));
    if (scheme == NULL || !request_visible(request, answer, &visible))
        return;
    if (entry > 0)
        result = read_entry(request->pg, entry, scheme->id, &visible, &answer->body, &found);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (!found)
        answer_not_found(answer);
}
