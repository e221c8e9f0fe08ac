/* SPDX-License-Identifier: ISC */
/* What the reading handlers share. A cursor is the number of a slice's last item, as eight bytes in base64url
 * (RFC 4648 section 5, without padding): opaque to clients, and safe in a URL as it is. */
#include "http/request/reading.h"

#include <stdlib.h>
#include <string.h>

enum { CURSOR_LENGTH = 11, CURSOR_SIZE };

static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";

/* 64 bits are ten digits of six bits and one of four, which is filled up with zeros. */
static void cursor_write(int64_t number, char text[static CURSOR_SIZE])
{
    uint64_t bits = (uint64_t)number;
    for (int i = 0; i < CURSOR_LENGTH - 1; i++)
        text[i] = digits[bits >> (58 - 6 * i) & 63];
    text[CURSOR_LENGTH - 1] = digits[bits << 2 & 63];
    text[CURSOR_LENGTH] = '\0';
}

static bool cursor_read(const char *text, int64_t *number)
{
    char canonical[CURSOR_SIZE];
    uint64_t bits = 0;
    if (strlen(text) != CURSOR_LENGTH)
        return false;
    for (int i = 0; i < CURSOR_LENGTH; i++) {
        const char *digit = strchr(digits, text[i]);
        if (digit == NULL)
            return false;
        uint64_t value = (uint64_t)(digit - digits);
        bits = i < CURSOR_LENGTH - 1 ? bits << 6 | value : bits << 4 | value >> 2;
    }
    *number = (int64_t)bits;
    cursor_write(*number, canonical);
    return *number >= 0 && strcmp(canonical, text) == 0;
}

bool slice_begin(const struct request *request, struct answer *answer, struct list_slice *slice)
{
    const char *cursor = request_query(request, "cursor");
    *slice = (struct list_slice){.after = SLICE_START, .items = &answer->body};
    if (cursor != NULL && !cursor_read(cursor, &slice->after)) {
        faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "cursor",
                             "is not one that an answer gave as next");
        return false;
    }
    if (!request_limit(request, answer, &slice->limit))
        return false;
    buffer_add_text(&answer->body, "{\"items\":[");
    return true;
}

void slice_end(const struct request *request, struct answer *answer, const struct list_slice *slice,
               bool always)
{
    char cursor[CURSOR_SIZE];
    buffer_add_char(&answer->body, ']');
    if (slice->more || always) {
        cursor_write(slice->last > 0 ? slice->last : 0, cursor);
        buffer_printf(&answer->body, ",\"next\":\"%s\"", cursor);
        answer->link_next = request_target(request, "cursor", cursor);
    }
    buffer_add_text(&answer->body, "}\n");
}

/* The sites of a participant, of the request's arena. */
static bool own_sites(const struct request *request, struct visible_sites *visible)
{
    const struct network *network = &request->snapshot->network;
    int32_t *ids = arena_array(request->arena, network->site_count + 1, sizeof *ids);
    if (ids == NULL)
        return false;
    *visible = (struct visible_sites){.ids = ids};
    for (size_t i = 0; i < network->site_count; i++)
        if (network->sites[i].participant == request->identity->participant)
            ids[visible->count++] = network->sites[i].id;
    return true;
}

bool request_visible(const struct request *request, struct answer *answer, struct visible_sites *visible)
{
    const struct identity *identity = request->identity;
    switch (role_reach(identity->role)) {
    case REACH_SITES:
        *visible = (struct visible_sites){.ids = identity->sites, .count = identity->site_count};
        return true;
    case REACH_PARTICIPANT:
        if (own_sites(request, visible))
            return true;
        faults_add(&answer->faults, REASON_INTERNAL_ERROR, NULL, "out of memory");
        return false;
    case REACH_EVERYTHING:
        *visible = (struct visible_sites){.all = true};
        return true;
    }
    abort();
}
