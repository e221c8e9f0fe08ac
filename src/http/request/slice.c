/* SPDX-License-Identifier: ISC */
/* A key consists of characters that need no escaping in a query or in JSON: small letters, digits, dashes and
 * slashes. */
#include "http/request/slice.h"

#include "http/request/route.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LIMIT_DEFAULT = 100, LIMIT_MAX = 1000, FORMER_CURSOR_LENGTH = 11 };

/* Begins the cursor of a slice that ends before an item. */
static const char BACK[] = "back/";

bool slice_refuse_cursor(struct answer *answer)
{
    faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "cursor",
                         "is not one that an answer gave");
    return false;
}

/* 0: not a number of up to four digits. A longer number would be out of bounds, or begin with zeros. */
static int limit_of(const char *text)
{
    int number = 0;
    size_t length = strlen(text);
    if (length > 4 || strspn(text, "0123456789") != length)
        return 0;
    for (; *text != '\0'; text++)
        number = 10 * number + (*text - '0');
    return number;
}

bool slice_read_limit(const struct request *request, struct answer *answer, int *limit)
{
    const char *text = request_query(request, "limit");
    *limit = text != NULL ? limit_of(text) : LIMIT_DEFAULT;
    if (*limit >= 1 && *limit <= LIMIT_MAX)
        return true;
    faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "limit", "must be 1 to %d", LIMIT_MAX);
    return false;
}

static bool is_key(const char *text)
{
    size_t length = strlen(text);
    return length > 0 && length < SLICE_KEY_SIZE &&
           strspn(text, "abcdefghijklmnopqrstuvwxyz0123456789-/") == length;
}

/* Reads a number as slice_end writes it. */
static bool read_number(const char *text, int64_t *number)
{
    size_t length = strlen(text);
    if (length == 0 || strspn(text, "0123456789") != length || (text[0] == '0' && length > 1))
        return false;
    errno = 0;
    *number = strtoll(text, NULL, 10);
    return errno == 0;
}

/* Reads the place in a feed after the cut of a day, as slice_end writes it: a number, a dash, and the day. */
static bool read_place(const char *text, int64_t *number, int64_t *day)
{
    char head[SLICE_KEY_SIZE];
    const char *dash = strchr(text, '-');
    if (dash == NULL || (size_t)(dash - text) >= sizeof head)
        return false;
    memcpy(head, text, (size_t)(dash - text));
    head[dash - text] = '\0';
    return read_number(head, number) && read_number(dash + 1, day) && *day <= INT32_MAX;
}

/* Until 0.2.0 a number was written as eight bytes in base64url (RFC 4648 section 5, without padding), most
 * significant first. Readers of the feed keep their cursor, so this form is still read. No text is a number
 * in both forms: in base64url the digits 0 to 9 stand for 52 to 61, and as the first character they would
 * make a number of more than 63 bits. */
static bool read_former_number(const char *text, int64_t *number)
{
    static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
    uint64_t bits = 0, value = 0;
    if (strlen(text) != FORMER_CURSOR_LENGTH)
        return false;
    for (int i = 0; i < FORMER_CURSOR_LENGTH; i++) {
        const char *digit = strchr(digits, text[i]);
        if (digit == NULL)
            return false;
        value = (uint64_t)(digit - digits);
        bits = i < FORMER_CURSOR_LENGTH - 1 ? bits << 6 | value : bits << 4 | value >> 2;
    }
    *number = (int64_t)bits;
    return *number >= 0 && (value & 3) == 0;
}

bool slice_is_newest(const struct request *request, enum media media)
{
    const char *order = request_query(request, "order");
    return order != NULL ? strcmp(order, "newest") == 0 : media == MEDIA_HTML;
}

bool slice_goes_both_ways(const struct request *request, enum media media)
{
    return route_takes(request->route, "order") &&
           (request_query(request, "order") != NULL || media == MEDIA_HTML);
}

/* Reads ?order= and the way of the cursor, of which *after is the key then. */
static bool read_way(const struct request *request, struct answer *answer, struct slice_way *way,
                     const char **after)
{
    const char *order = request_query(request, "order");
    *way = (struct slice_way){.either = slice_goes_both_ways(request, answer->media)};
    *after = request_query(request, "cursor");
    if (!way->either)
        return true;
    way->turned = *after != NULL && strncmp(*after, BACK, sizeof BACK - 1) == 0;
    way->newest = slice_is_newest(request, answer->media) != way->turned;
    if (way->turned)
        *after += sizeof BACK - 1;
    if (order == NULL || strcmp(order, "newest") == 0 || strcmp(order, "oldest") == 0)
        return true;
    faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "order", "must be newest or oldest");
    return false;
}

static void begin_items(struct answer *answer)
{
    buffer_add_text(&answer->body, "{\"items\":[");
}

void slice_add_next(const struct request *request, struct answer *answer, const char *key)
{
    buffer_printf(&answer->body, ",\"next\":\"%s\"", key);
    answer->link_next = request_target(request, "cursor", key);
}

static void add_previous(const struct request *request, struct answer *answer, const char *key)
{
    char cursor[sizeof BACK + SLICE_KEY_SIZE];
    snprintf(cursor, sizeof cursor, "%s%s", BACK, key);
    buffer_printf(&answer->body, ",\"previous\":\"%s\"", cursor);
    answer->link_previous = request_target(request, "cursor", cursor);
}

/* Where a list goes on from a slice, in the order in which items were read: `first` and `last` are their
 * keys, and `inside` says that the slice was not read from the list's end. */
struct read_part {
    const char *first, *last;
    bool inside, more;
};

static void add_cursors(const struct request *request, struct answer *answer, const struct slice_way *way,
                        const struct read_part *part)
{
    if (way->turned ? part->inside : part->more)
        slice_add_next(request, answer, way->turned ? part->first : part->last);
    if (way->either && (way->turned ? part->more : part->inside))
        add_previous(request, answer, way->turned ? part->last : part->first);
}

static bool begin(const struct request *request, struct answer *answer, bool is_feed,
                  struct list_slice *slice)
{
    const char *cursor;
    *slice = (struct list_slice){.after_day = SLICE_START, .last_day = SLICE_START, .items = &answer->body};
    bool valid = read_way(request, answer, &slice->way, &cursor);
    valid = slice_read_limit(request, answer, &slice->limit) && valid;
    slice->after = slice->way.newest ? SLICE_END : SLICE_START;
    if (cursor != NULL && !read_number(cursor, &slice->after) && !read_former_number(cursor, &slice->after) &&
        !(is_feed && read_place(cursor, &slice->after, &slice->after_day)))
        valid = slice_refuse_cursor(answer);
    if (valid)
        begin_items(answer);
    return valid;
}

bool slice_begin(const struct request *request, struct answer *answer, struct list_slice *slice)
{
    return begin(request, answer, false, slice);
}

bool slice_begin_feed(const struct request *request, struct answer *answer, struct list_slice *slice)
{
    return begin(request, answer, true, slice);
}

void slice_end(const struct request *request, struct answer *answer, enum store_result result,
               const struct list_slice *slice)
{
    char first[SLICE_KEY_SIZE], last[SLICE_KEY_SIZE];
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
        return;
    }
    buffer_add_char(&answer->body, ']');
    snprintf(first, sizeof first, "%lld", (long long)(slice->first > 0 ? slice->first : 0));
    int length = snprintf(last, sizeof last, "%lld", (long long)(slice->last > 0 ? slice->last : 0));
    if (slice->last_day != SLICE_START)
        snprintf(last + length, sizeof last - (size_t)length, "-%lld", (long long)slice->last_day);
    bool inside = slice->after != SLICE_START && slice->after != SLICE_END;
    add_cursors(request, answer, &slice->way, &(struct read_part){first, last, inside, slice->more});
    buffer_add_text(&answer->body, "}\n");
}

bool slice_read_keys(const struct request *request, struct answer *answer, struct key_slice *slice)
{
    *slice = (struct key_slice){0};
    bool valid = read_way(request, answer, &slice->asked.way, &slice->after);
    valid = slice_read_limit(request, answer, &slice->asked.limit) && valid;
    return slice->after == NULL || is_key(slice->after) ? valid : slice_refuse_cursor(answer);
}

bool slice_begin_keys(const struct request *request, struct answer *answer, struct key_slice *slice)
{
    bool valid = slice_read_keys(request, answer, slice);
    if (valid)
        begin_items(answer);
    return valid;
}

void slice_end_keys(const struct request *request, struct answer *answer, const struct key_slice *wanted,
                    enum store_result result, const struct json_slice *slice)
{
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
        return;
    }
    buffer_add_char(&answer->body, ']');
    bool inside = wanted->after != NULL && slice->count > 0;
    add_cursors(request, answer, &wanted->asked.way,
                &(struct read_part){slice->first, slice->last, inside, slice->more});
    buffer_add_char(&answer->body, '}');
}
