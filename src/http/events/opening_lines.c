/* SPDX-License-Identifier: ISC */
/* The cells of a line are those of the event's members. A shipment is all lines with the same site, to and
 * dispatch. One without a dispatch gets an id that follows from the event's id, site and to. */
#include "http/events/opening_lines.h"

#include "depositd/event.h"
#include "depositd/money.h"
#include "depositd/seal.h"
#include "http/events/lines_body.h"
#include "http/request/json_body.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SHIPMENTS_JOINED = 200, COLUMNS_MAX = 6, SEED_MAX = 128 };

/* The cells of a line, for their checks alone: the event is made of the JSON. */
struct line {
    int what, condition;
    char site[CODE_SIZE], to[CODE_SIZE], cup_type[CODE_SIZE], participant[CODE_SIZE];
    struct uuid dispatch;
    int64_t quantity;
    struct decimal amount;
};

/* The kinds of lines, with the columns that each must have, and those that each may have.
 * X(NAME, word, required, optional) */
#define COLUMNS(...)                                                                                         \
    {                                                                                                        \
        __VA_ARGS__                                                                                          \
    }
/* clang-format off */
#define WHAT_TABLE(X)                                                                                        \
    X(STOCK, stock, COLUMNS("site", "cup_type", "quantity"), COLUMNS("condition"))                           \
    X(WITH_CUSTOMERS, with_customers, COLUMNS("cup_type", "quantity"), COLUMNS(NULL))                        \
    X(RETIRED, retired, COLUMNS("cup_type", "quantity"), COLUMNS(NULL))                                      \
    X(UNACCOUNTED, unaccounted, COLUMNS("cup_type", "quantity"), COLUMNS(NULL))                              \
    X(SHIPMENT, shipment, COLUMNS("site", "to", "cup_type", "quantity"), COLUMNS("dispatch", "condition"))   \
    X(BANK, bank, COLUMNS("amount"), COLUMNS(NULL))                                                          \
    X(DUE, due, COLUMNS("participant", "amount"), COLUMNS(NULL))
/* clang-format on */

enum what {
#define X(NAME, word, required, optional) NAME,
    WHAT_TABLE(X)
#undef X
        WHAT_COUNT
};

static const struct {
    const char *word;
    const char *required[COLUMNS_MAX], *optional[COLUMNS_MAX]; /* NULL-ended */
} whats[WHAT_COUNT] = {
#define X(NAME, word, required, optional) [NAME] = {#word, required, optional},
    WHAT_TABLE(X)
#undef X
};

static const char *const what_words[] = {
#define X(NAME, word, required, optional) [NAME] = #word,
    WHAT_TABLE(X)
#undef X
        [WHAT_COUNT] = NULL};

#define CELL(member, of_form, text)                                                                          \
    .name = #member, .form = of_form, .offset = offsetof(struct line, member), .description = text
static const struct field fields[] = {
    {CELL(
         what, FORM_WORD,
         "stock: cups at a site; with_customers, retired, unaccounted (counts as forfeited): cups elsewhere; "
         "shipment: cups on the road; bank: the balance of the bank account, once; due: what a participant "
         "owes"),
     .required = true, .words = what_words},
    {CELL(site, FORM_CODE, "Of stock: where the cups are; of a shipment: where it comes from")},
    {CELL(to, FORM_CODE, "Of a shipment: where it goes")},
    {CELL(dispatch, FORM_UUID,
          "Of a shipment: its id, which the receipt names; the service makes one unless it is given")},
    {CELL(cup_type, FORM_CODE, "Code of the cup type")},
    {CELL(quantity, FORM_INTEGER, "Number of cups"), .minimum = 1, .maximum = QUANTITY_MAX},
    {CELL(condition, FORM_WORD, "Of stock or a shipment: sound, or damaged; sound unless given"),
     .words = cup_conditions},
    {CELL(participant, FORM_CODE, "Of money due: code of the participant")},
    {CELL(amount, FORM_AMOUNT,
          "Of bank and due; negative: the bank's overdraft, or money owed to the participant"),
     .minimum = -1, .maximum = 1},
};
static const struct shape shape_line = {.name = "OpeningLine",
                                        .size = sizeof(struct line),
                                        .fields = fields,
                                        .field_count = sizeof fields / sizeof fields[0]};

const struct csv_form csv_opening = {"lines", &shape_line};

/* One opening while it is made. */
struct making {
    const struct opening_head *head;
    json_t *places, *shipments, *due, *bank;
    struct csv_body *body;
    struct faults *faults;
};

static void blame(struct making *making, enum reason reason, size_t row, const char *column,
                  const char *detail, enum what what)
{
    char pointer[2 * CODE_SIZE];
    snprintf(pointer, sizeof pointer, "/%s/%zu/%s", csv_opening.list, row, column);
    faults_add(making->faults, reason, pointer, "%s %s", detail, whats[what].word);
}

static void note(struct making *making, size_t row, const char *pointer, const char *column)
{
    struct csv_origin origin = {.row = row, .column = column};
    snprintf(origin.pointer, sizeof origin.pointer, "%s", pointer);
    csv_body_add_origin(making->body, making->faults->arena, &origin);
}

static bool is_among(const char *const names[static COLUMNS_MAX], const char *name)
{
    for (size_t i = 0; i < COLUMNS_MAX && names[i] != NULL; i++)
        if (strcmp(names[i], name) == 0)
            return true;
    return false;
}

/* Whether the line has the cells of its kind and no others. */
static bool check_cells(struct making *making, json_t *line, size_t row, enum what what)
{
    const char *name;
    json_t *value;
    size_t faults_before = making->faults->count;
    for (size_t i = 0; i < COLUMNS_MAX && whats[what].required[i] != NULL; i++)
        if (json_object_get(line, whats[what].required[i]) == NULL)
            blame(making, REASON_MEMBER_MISSING, row, whats[what].required[i], "is required where what is",
                  what);
    json_object_foreach(line, name, value)
    {
        if (strcmp(name, "what") != 0 && !is_among(whats[what].required, name) &&
            !is_among(whats[what].optional, name))
            blame(making, REASON_MEMBER_UNKNOWN, row, name, "must be empty where what is", what);
    }
    return making->faults->count == faults_before;
}

static void copy(json_t *to, const json_t *line, const char *name)
{
    json_t *value = json_object_get(line, name);
    if (value != NULL)
        json_object_set(to, name, value);
}

static void copy_all(json_t *to, const json_t *line, const char *const names[static COLUMNS_MAX])
{
    for (size_t i = 0; i < COLUMNS_MAX && names[i] != NULL; i++)
        copy(to, line, names[i]);
}

/* Puts an empty element of the line at the end of the list. */
static json_t *add(struct making *making, json_t *list, const char *list_pointer, size_t row)
{
    char pointer[2 * CODE_SIZE];
    json_t *element = json_object();
    /* The longest pointer of a list is /shipments/199/cups. */
    snprintf(pointer, sizeof pointer, "%.40s/%zu", list_pointer, json_array_size(list));
    note(making, row, pointer, NULL);
    json_array_append_new(list, element);
    return element;
}

/* A UUID of version 8 (RFC 9562 section 5.8), made of a hash. */
static void derive_id(const char *text, char id[static UUID_TEXT_MAX])
{
    struct sha256 hash;
    struct uuid uuid;
    sha256_of(text, strlen(text), &hash);
    memcpy(uuid.bytes, hash.bytes, sizeof uuid.bytes);
    uuid.bytes[6] = (unsigned char)((uuid.bytes[6] & 0x0f) | 0x80);
    uuid.bytes[8] = (unsigned char)((uuid.bytes[8] & 0x3f) | 0x80);
    uuid_format(&uuid, id);
}

static bool is_of(const json_t *shipment, const json_t *line)
{
    return strcmp(json_member_text(shipment, "dispatch"), json_member_text(line, "dispatch")) == 0 &&
           strcmp(json_member_text(shipment, "site"), json_member_text(line, "site")) == 0 &&
           strcmp(json_member_text(shipment, "to"), json_member_text(line, "to")) == 0;
}

/* An opening may have fewer shipments than are joined here, so more of them are refused later on. */
static size_t find_shipment(const struct making *making, const json_t *line)
{
    size_t count = json_array_size(making->shipments);
    for (size_t i = 0; i < count && i < SHIPMENTS_JOINED; i++)
        if (is_of(json_array_get(making->shipments, i), line))
            return i;
    return count;
}

static void add_shipment(struct making *making, const json_t *line, size_t row)
{
    char pointer[2 * CODE_SIZE];
    size_t i = find_shipment(making, line);
    json_t *shipment = json_array_get(making->shipments, i);
    if (shipment == NULL) {
        shipment = add(making, making->shipments, "/shipments", row);
        copy(shipment, line, "site");
        copy(shipment, line, "to");
        copy(shipment, line, "dispatch");
        json_object_set_new(shipment, "cups", json_array());
    }
    snprintf(pointer, sizeof pointer, "/shipments/%zu/cups", i);
    json_t *cups = add(making, json_object_get(shipment, "cups"), pointer, row);
    copy(cups, line, "cup_type");
    copy(cups, line, "quantity");
    copy(cups, line, "condition");
}

static void add_bank(struct making *making, const json_t *line, size_t row)
{
    if (making->bank != NULL)
        blame(making, REASON_TOO_MANY, row, "what", "stands in a line before:", BANK);
    making->bank = json_object_get(line, "amount");
    note(making, row, "/bank", "amount");
}

static void add_line(struct making *making, json_t *line, size_t row, enum what what)
{
    json_t *element;
    switch (what) {
    case STOCK:
    case WITH_CUSTOMERS:
    case RETIRED:
    case UNACCOUNTED:
        element = add(making, making->places, "/places", row);
        copy_all(element, line, whats[what].required);
        copy_all(element, line, whats[what].optional);
        if (what != STOCK)
            json_object_set_new(element, "place", json_string(whats[what].word));
        return;
    case SHIPMENT:
        add_shipment(making, line, row);
        return;
    case BANK:
        add_bank(making, line, row);
        return;
    case DUE:
        element = add(making, making->due, "/due", row);
        copy_all(element, line, whats[what].required);
        return;
    case WHAT_COUNT:
        break;
    }
    abort();
}

static void add_lines(struct making *making, const json_t *lines)
{
    size_t row;
    json_t *line;
    json_array_foreach(lines, row, line)
    {
        int what = 0;
        while (strcmp(whats[what].word, json_member_text(line, "what")) != 0)
            what++;
        if (check_cells(making, line, row, (enum what)what))
            add_line(making, line, row, (enum what)what);
    }
}

/* Lines that the opening as a whole lacks. Lines with faults may be these, so they are mended first. */
static void check_whole(struct making *making)
{
    if (making->faults->count > 0)
        return;
    if (making->bank == NULL)
        faults_add(making->faults, REASON_MEMBER_MISSING, "",
                   "a line must give the balance of the bank account: its what is bank");
    if (json_array_size(making->places) == 0)
        faults_add(making->faults, REASON_MEMBER_MISSING, "",
                   "a line must give cups: its what is stock, with_customers, retired or unaccounted");
}

static void set_list(json_t *event, const char *name, json_t *list)
{
    if (json_array_size(list) > 0)
        json_object_set(event, name, list);
}

/* The derived id is that of the event without an id. */
static void set_id(json_t *event, const char *given)
{
    char id[UUID_TEXT_MAX] = "";
    char *text = given == NULL ? json_dumps(event, JSON_COMPACT | JSON_SORT_KEYS) : NULL;
    if (text != NULL)
        derive_id(text, id);
    free(text);
    json_object_set_new(event, "event_id", json_string(given != NULL ? given : id));
}

/* Gives an id to each shipment that has none. Another event has others, because the id of a shipment is used
 * once. */
static void set_dispatches(const json_t *event, json_t *shipments)
{
    size_t i;
    json_t *shipment;
    char seed[SEED_MAX], id[UUID_TEXT_MAX];
    json_array_foreach(shipments, i, shipment)
    {
        if (json_object_get(shipment, "dispatch") != NULL)
            continue;
        snprintf(seed, sizeof seed, "%s/%s/%s", json_member_text(event, "event_id"),
                 json_member_text(shipment, "site"), json_member_text(shipment, "to"));
        derive_id(seed, id);
        json_object_set_new(shipment, "dispatch", json_string(id));
    }
}

json_t *opening_of_lines(const json_t *json, const struct opening_head *head, struct csv_body *body,
                         struct faults *faults)
{
    struct making making = {.head = head,
                            .places = json_array(),
                            .shipments = json_array(),
                            .due = json_array(),
                            .body = body,
                            .faults = faults};
    if (csv_body_check(&csv_opening, json, faults))
        add_lines(&making, json_object_get(json, csv_opening.list));
    check_whole(&making);
    json_t *event = json_pack("{s:s, s:s, s:s, s:O, s:O?}", "kind", "opening", "scheme", head->scheme,
                              "occurred_at", head->occurred_at, "places", making.places, "bank", making.bank);
    set_list(event, "shipments", making.shipments);
    set_list(event, "due", making.due);
    set_id(event, head->event_id);
    set_dispatches(event, making.shipments);
    json_decref(making.places);
    json_decref(making.shipments);
    json_decref(making.due);
    if (faults->count == 0 && event == NULL)
        faults_replace(faults, REASON_OVERLOADED);
    if (faults->count == 0)
        return event;
    json_decref(event);
    return NULL;
}
