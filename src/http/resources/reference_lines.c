/* SPDX-License-Identifier: ISC */
/* The things of several lines become one piece, whose faults point into it. Before the next piece, these
 * faults are made to point into the lines: /line/list/index. */
#include "http/resources/reference_lines.h"

#include "base/memory.h"
#include "http/request/json_body.h"
#include "http/resources/reference_shapes.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PIECE_ROWS = 5000, PIECE_SCHEMES = 250, PIECE_BYTES = 1 << 20, POINTER_MAX = 640, WORDS_MAX = 40 };

/* In the order in which lists are put. */
static const struct {
    const char *list;
    enum reference_part part;
    size_t rows; /* of a piece, unless a single line has more */
} stages[REFERENCE_STAGES] = {
    {"cup_types", REFERENCE_BUT_OFFICE_ACCOUNTS, PIECE_ROWS},
    {"participants", REFERENCE_BUT_OFFICE_ACCOUNTS, PIECE_ROWS},
    {"schemes", REFERENCE_BUT_OFFICE_ACCOUNTS, PIECE_SCHEMES},
    {"sites", REFERENCE_BUT_OFFICE_ACCOUNTS, PIECE_ROWS},
    {"tax_registrations", REFERENCE_BUT_OFFICE_ACCOUNTS, PIECE_ROWS},
    {"site_kinds", REFERENCE_BUT_OFFICE_ACCOUNTS, PIECE_ROWS},
    {"agreements", REFERENCE_BUT_OFFICE_ACCOUNTS, PIECE_ROWS},
    {"schemes", REFERENCE_OFFICE_ACCOUNTS_ALONE, PIECE_SCHEMES},
};

/* ---- faults ---- */

/* Places a fault that points into a document by the line of that document. */
static void place(struct faults *faults, size_t fault, size_t line, const char *pointer)
{
    char placed[POINTER_MAX + WORDS_MAX], words[WORDS_MAX];
    snprintf(placed, sizeof placed, "/%zu%s", line, pointer);
    snprintf(words, sizeof words, "line %zu", line);
    faults_place(faults, fault, placed, words);
}

static void blame_line(struct reference_lines *self, enum reason reason, const char *detail)
{
    size_t before = self->faults->count;
    faults_add(self->faults, reason, "", "%s", detail);
    if (self->faults->count > before)
        place(self->faults, before, self->lines.number, "");
}

/* The line that a thing of the piece stands in. */
static const struct lines_origin *origin_of(const struct reference_lines *self, size_t row)
{
    size_t i = self->origin_count;
    while (i > 1 && self->origins[i - 1].row > row)
        i--;
    return &self->origins[i - 1];
}

/* Places a fault of the piece: /list/number/… */
static void place_in_piece(struct reference_lines *self, size_t fault)
{
    char pointer[POINTER_MAX], *rest;
    const char *list = stages[self->stage].list, *given = self->faults->items[fault].pointer;
    size_t length = strlen(list);
    if (given == NULL || *given != '/' || strncmp(given + 1, list, length) != 0)
        return;
    given += 1 + length;
    size_t row = *given == '/' ? strtoul(given + 1, &rest, 10) : 0;
    const struct lines_origin *origin = origin_of(self, row);
    if (*given == '/')
        snprintf(pointer, sizeof pointer, "/%s/%zu%s", list, row - origin->row, rest);
    else
        snprintf(pointer, sizeof pointer, "/%s", list);
    place(self->faults, fault, origin->line, pointer);
}

static void end_piece(struct reference_lines *self)
{
    for (size_t i = self->faults_before; self->origin_count > 0 && i < self->faults->count; i++)
        place_in_piece(self, i);
    self->faults_before = self->faults->count;
    self->origins = NULL;
    self->origin_count = self->origin_capacity = 0;
    arena_reset(&self->arena);
}

/* ---- the first look ---- */

static bool is_blank(const char *text, size_t length)
{
    for (size_t i = 0; i < length; i++)
        if (text[i] != ' ' && text[i] != '\t' && text[i] != '\r')
            return false;
    return true;
}

/* NULL: it is no JSON. `found`, unless it is NULL, gets the reason. */
static json_t *parse(struct reference_lines *self, const char *text, size_t length, enum reason *found)
{
    struct faults faults;
    faults_init(&faults, &self->arena);
    json_t *json = json_body_parse(text, length, &faults);
    if (json == NULL && found != NULL)
        *found = faults.items[0].reason;
    return json;
}

static void count_nested(struct reference_lines *self, const json_t *schemes)
{
    size_t i;
    json_t *scheme;
    json_array_foreach(schemes, i, scheme)
    {
        self->counts.terms += json_array_size(json_object_get(scheme, "terms"));
        self->counts.refund_values += json_array_size(json_object_get(scheme, "refund_values"));
        self->counts.office_accounts += json_array_size(json_object_get(scheme, "office_accounts"));
    }
}

static void count_things(struct reference_lines *self, const json_t *line)
{
#define X(list) self->counts.list += json_array_size(json_object_get(line, #list));
    REFERENCE_LISTS(X)
#undef X
    count_nested(self, json_object_get(line, "schemes"));
}

static void note_lists(struct reference_lines *self, const json_t *line, struct lines_place where)
{
    for (size_t i = 0; i < REFERENCE_STAGES; i++) {
        struct lines_range *range = &self->ranges[i];
        if (json_array_size(json_object_get(line, stages[i].list)) == 0)
            continue;
        if (range->last == 0)
            range->first = where;
        range->last = self->lines.number;
    }
}

/* Whether the member is a list of a document. Its things are checked later. */
static bool is_list(const char *name, const json_t *value)
{
    for (size_t i = 0; json_is_array(value) && i < REFERENCE_STAGES; i++)
        if (strcmp(name, stages[i].list) == 0)
            return true;
    return false;
}

/* Adds the faults of members that are no lists of a document. */
static void check_members(struct reference_lines *self, json_t *line)
{
    const char *name;
    json_t *value;
    struct reference nothing;
    size_t before = self->faults->count;
    json_t *others = json_object();
    json_object_foreach(line, name, value)
    {
        if (!is_list(name, value))
            json_object_set(others, name, value);
    }
    if (json_object_size(others) > 0)
        (void)!shape_decode_within(&self->arena, &shape_reference, others, "", &nothing, self->faults);
    for (size_t i = before; i < self->faults->count; i++)
        place(self->faults, i, self->lines.number, self->faults->items[i].pointer);
    json_decref(others);
}

static void look_at(struct reference_lines *self, const char *text, size_t length, struct lines_place where)
{
    enum reason reason;
    json_t *line = parse(self, text, length, &reason);
    if (line == NULL && memory_has_failed()) {
        faults_refuse(self->faults, REASON_OVERLOADED);
    } else if (line == NULL) {
        blame_line(self, reason, "is malformed or breaks off");
    } else if (!json_is_object(line)) {
        blame_line(self, REASON_WRONG_TYPE, "must be an object");
    } else {
        check_members(self, line);
        note_lists(self, line, where);
        count_things(self, line);
    }
    json_decref(line);
    arena_reset(&self->arena);
}

/* ---- pieces ---- */

/* Adds the things of a line to the piece. False: no memory. */
static bool add_things(struct reference_lines *self, json_t *rows, json_t *things)
{
    if (!arena_grow(&self->arena, &self->origins, self->origin_count, &self->origin_capacity,
                    sizeof *self->origins))
        return false;
    self->origins[self->origin_count++] =
        (struct lines_origin){.row = json_array_size(rows), .line = self->lines.number};
    return json_array_extend(rows, things) == 0;
}

/* The things of the stage's next lines, as many as a piece has. NULL: there are none left, or no memory. */
static json_t *gather(struct reference_lines *self)
{
    const struct lines_range *range = &self->ranges[self->stage];
    const char *text;
    size_t length, bytes = 0;
    bool full = false;
    json_t *rows = json_array();
    while (!full && !self->pieces.failed && self->lines.number < range->last) {
        struct lines_place where = lines_tell(&self->lines);
        if (lines_next(&self->lines, &text, &length) != LINES_GIVEN) {
            self->pieces.failed = true;
            break;
        }
        json_t *line = is_blank(text, length) ? NULL : parse(self, text, length, NULL);
        json_t *things = json_object_get(line, stages[self->stage].list);
        size_t count = json_array_size(things), before = json_array_size(rows);
        full = before > 0 && (before + count > stages[self->stage].rows || bytes + length > PIECE_BYTES);
        if (full)
            lines_go(&self->lines, where);
        else if (count > 0 && !add_things(self, rows, things))
            self->pieces.failed = true;
        bytes += count > 0 ? length : 0;
        json_decref(line);
    }
    if (json_array_size(rows) > 0 && !self->pieces.failed && !memory_has_failed())
        return rows;
    self->pieces.failed = self->pieces.failed || memory_has_failed();
    json_decref(rows);
    return NULL;
}

/* Faults of the shape are added when a list is put the first time. */
static void decode(struct reference_lines *self, json_t *rows, struct reference *piece)
{
    struct faults again;
    json_t *json = json_pack("{s:o}", stages[self->stage].list, rows);
    bool first = stages[self->stage].part != REFERENCE_OFFICE_ACCOUNTS_ALONE;
    faults_init(&again, &self->arena);
    (void)!shape_decode_within(&self->arena, &shape_reference, json, "", piece,
                               first ? self->faults : &again);
    piece->part = stages[self->stage].part;
    json_decref(json);
}

static bool next(struct reference_pieces *pieces, struct reference *piece)
{
    struct reference_lines *self = (struct reference_lines *)pieces;
    end_piece(self);
    for (; self->stage < REFERENCE_STAGES && !pieces->failed; self->stage++, self->within = false) {
        if (self->ranges[self->stage].last == 0)
            continue;
        if (!self->within)
            lines_go(&self->lines, self->ranges[self->stage].first);
        self->within = true;
        json_t *rows = gather(self);
        if (rows == NULL)
            continue;
        decode(self, rows, piece);
        return true;
    }
    return false;
}

/* Says why the reading ends before the last line. */
static void refuse_rest(struct reference_lines *self, enum lines_result result)
{
    char detail[WORDS_MAX * 2];
    self->pieces.failed = result == LINES_FAILED;
    if (result != LINES_TOO_LONG)
        return;
    self->lines.number++;
    snprintf(detail, sizeof detail, "must have at most %zu bytes", self->lines.maximum);
    blame_line(self, REASON_TOO_LONG, detail);
    faults_format(self->faults, "must have at most %zu bytes");
}

void reference_lines_begin(struct reference_lines *lines, const struct request *request,
                           struct faults *faults)
{
    enum { FAULTY_LINES = 10000 };
    const char *text;
    size_t length;
    enum lines_result result = LINES_GIVEN;
    *lines = (struct reference_lines){.faults = faults};
    lines_init(&lines->lines, request->lines_file, (size_t)request->service->config->max_reference_bytes);
    arena_init(&lines->arena, 0);
    while (result == LINES_GIVEN && faults_found(faults) < FAULTY_LINES) {
        struct lines_place where = lines_tell(&lines->lines);
        result = lines_next(&lines->lines, &text, &length);
        if (result == LINES_GIVEN && !is_blank(text, length))
            look_at(lines, text, length, where);
    }
    refuse_rest(lines, result);
    lines->faults_before = faults->count;
    lines->pieces.next = next;
}

void reference_lines_end(struct reference_lines *lines)
{
    end_piece(lines);
    faults_order_by_line(lines->faults);
    lines_dispose(&lines->lines);
    arena_dispose(&lines->arena);
}
