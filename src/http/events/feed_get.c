/* SPDX-License-Identifier: ISC */
/* The feed of many schemes: GET /v1/feed. It is read scheme by scheme, from the place that the cursor has in
 * each. If there is nothing after these places, the answer may wait for news. */
#include "http/events/handlers.h"

#include "http/events/feed_cursor.h"
#include "http/request/slice.h"

#include <stdlib.h>
#include <string.h>

enum { WAIT_MAX_S = 60, FEED_SCHEMES_MAX = 700 };

struct feed_request {
    int limit;
    int wait_s;
    struct feed_cursor cursor;     /* a place in each scheme that is asked for */
    const struct scheme **schemes; /* of the places */
};

/* Reads ?wait=, a number of up to two digits. */
static void read_wait(const struct request *request, struct answer *answer, int *wait_s)
{
    const char *text = request_query(request, "wait");
    if (text == NULL)
        return;
    size_t length = strlen(text);
    bool is_number = length >= 1 && length <= 2 && strspn(text, "0123456789") == length;
    *wait_s = is_number ? atoi(text) : WAIT_MAX_S + 1;
    if (*wait_s > WAIT_MAX_S)
        faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "wait", "must be 0 to %d",
                             WAIT_MAX_S);
}

/* The next code of a list; NULL: there are no more. */
static const char *next_code(const char **list, char code[static CODE_SIZE])
{
    if (*list == NULL)
        return NULL;
    size_t length = strcspn(*list, ",");
    bool fits = length < CODE_SIZE;
    memcpy(code, *list, fits ? length : 0);
    code[fits ? length : 0] = '\0';
    *list = (*list)[length] == ',' ? *list + length + 1 : NULL;
    return code;
}

/* Marks the schemes that ?schemes= names. False: a fault was added. */
static bool mark_named(const struct request *request, struct answer *answer, const char *list, bool *asked)
{
    char code[CODE_SIZE];
    while (next_code(&list, code) != NULL) {
        const struct scheme *scheme = request_scheme(request, answer, code);
        if (scheme == NULL)
            return false;
        asked[scheme->id] = true;
    }
    return true;
}

/* False: a fault was added. The places of more schemes would not fit the head of the next request. */
static bool check_number(const struct request *request, struct answer *answer, const bool *asked)
{
    int count = 0;
    for (int32_t id = 0; id < request->snapshot->network.scheme_ids; id++)
        count += asked[id];
    if (count <= FEED_SCHEMES_MAX)
        return true;
    faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "schemes",
                         "names %d schemes; at most %d have room in a cursor: ask for some at a time", count,
                         FEED_SCHEMES_MAX);
    return false;
}

/* Marks the schemes that are asked for, by id. NULL: a fault was added. */
static const bool *read_schemes(const struct request *request, struct answer *answer)
{
    const char *list = request_query(request, "schemes");
    const bool *known = request_known_schemes(request);
    bool *asked = arena_array(request->arena, (size_t)request->snapshot->network.scheme_ids + 1, 1);
    if (known == NULL || asked == NULL) {
        faults_refuse(&answer->faults, REASON_OVERLOADED);
        return NULL;
    }
    if (strcmp(list, "all") == 0)
        return check_number(request, answer, known) ? known : NULL;
    memset(asked, 0, (size_t)request->snapshot->network.scheme_ids + 1);
    return mark_named(request, answer, list, asked) && check_number(request, answer, asked) ? asked : NULL;
}

/* Gives each scheme that is asked for its place. A scheme that the cursor does not have begins at its start.
 */
static bool place_schemes(const struct request *request, const bool *asked, const struct feed_cursor *given,
                          struct feed_request *feed)
{
    const struct network *network = &request->snapshot->network;
    size_t at = 0;
    feed->schemes = arena_array(request->arena, (size_t)network->scheme_ids + 1, sizeof *feed->schemes);
    feed->cursor.places =
        arena_array(request->arena, (size_t)network->scheme_ids + 1, sizeof *feed->cursor.places);
    feed->cursor.begin = given->begin;
    if (feed->schemes == NULL || feed->cursor.places == NULL)
        return false;
    for (int32_t id = 0; id < network->scheme_ids; id++) {
        while (at < given->count && given->places[at].scheme < id)
            at++;
        if (!asked[id])
            continue;
        bool has_place = at < given->count && given->places[at].scheme == id;
        feed->schemes[feed->cursor.count] = network->scheme_by_id[id];
        feed->cursor.places[feed->cursor.count++] =
            has_place ? given->places[at] : (struct feed_place){id, 0, SLICE_START};
    }
    return true;
}

static bool read_parameters(const struct request *request, struct answer *answer, struct feed_request *feed)
{
    struct feed_cursor given = {0};
    const char *text = request_query(request, "cursor");
    *feed = (struct feed_request){0};
    bool valid = slice_read_limit(request, answer, &feed->limit);
    read_wait(request, answer, &feed->wait_s);
    if (text != NULL && !feed_cursor_read(text, request->arena, &given))
        valid = slice_refuse_cursor(answer);
    if (!valid || answer->faults.count > 0)
        return false;
    const bool *asked = read_schemes(request, answer);
    if (asked != NULL && !place_schemes(request, asked, &given, feed))
        faults_refuse(&answer->faults, REASON_OVERLOADED);
    return answer->faults.count == 0;
}

static const struct feed_end *end_of(const struct feed_end *ends, size_t count, int32_t scheme)
{
    for (size_t low = 0, high = count; low < high;) {
        size_t middle = low + (high - low) / 2;
        if (ends[middle].scheme == scheme)
            return &ends[middle];
        if (ends[middle].scheme < scheme)
            low = middle + 1;
        else
            high = middle;
    }
    return NULL; /* the scheme is newer than the ends, and has nothing yet */
}

/* The index of the first place that is read. */
static size_t first_place(const struct feed_cursor *cursor)
{
    for (size_t i = 0; i < cursor->count; i++)
        if (cursor->places[i].scheme >= cursor->begin)
            return i;
    return 0;
}

/* Reads from the scheme to begin with on, once around, until the slice is full. *count: of items. */
static enum store_result read_slice(const struct request *request, struct answer *answer,
                                    struct feed_request *feed, size_t *count)
{
    struct feed_cursor *cursor = &feed->cursor;
    struct feed_end *ends;
    size_t end_count, first = first_place(cursor);
    int left = feed->limit;
    int32_t *ids = arena_array(request->arena, cursor->count + 1, sizeof *ids);
    for (size_t i = 0; i < cursor->count && ids != NULL; i++)
        ids[i] = cursor->places[i].scheme;
    if (ids == NULL)
        return STORE_FAILED;
    enum store_result result =
        read_feed_ends(request->pg, request->arena, ids, cursor->count, &ends, &end_count);
    for (size_t n = 0; n < cursor->count && left > 0 && result == STORE_OK; n++) {
        size_t i = (first + n) % cursor->count;
        struct feed_place *place = &cursor->places[i];
        const struct feed_end *end = end_of(ends, end_count, place->scheme);
        if (end == NULL || !feed_goes_on(place, end))
            continue;
        struct feed_part part = {end, feed->schemes[i]->code, left, place, &answer->body, 0};
        result = read_feed_part(request->pg, request->arena, &part);
        left -= part.added;
        cursor->begin = cursor->places[(i + 1) % cursor->count].scheme;
    }
    *count = (size_t)(feed->limit - left);
    return result;
}

static void offer_to_wait(const struct request *request, struct answer *answer,
                          const struct feed_request *feed)
{
    struct answer_wait *wait = arena_array(request->arena, 1, sizeof *wait);
    if (wait == NULL)
        return; /* it is answered at once */
    *wait = (struct answer_wait){feed->cursor.places, feed->cursor.count, feed->wait_s};
    answer->wait = wait;
}

void handle_feed(const struct request *request, struct answer *answer)
{
    struct feed_request feed;
    size_t count;
    if (!read_parameters(request, answer, &feed))
        return;
    buffer_add_text(&answer->body, "{\"items\":[");
    enum store_result result = read_slice(request, answer, &feed, &count);
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
        return;
    }
    const char *next = feed_cursor_write(&feed.cursor, request->arena);
    if (next == NULL) {
        faults_refuse(&answer->faults, REASON_OVERLOADED);
        return;
    }
    buffer_add_char(&answer->body, ']');
    slice_add_next(request, answer, next);
    buffer_add_char(&answer->body, '}');
    if (count == 0 && feed.wait_s > 0)
        offer_to_wait(request, answer, &feed);
}
