/* SPDX-License-Identifier: ISC */
/* An opening may have thousands of lines. Repeated ones are found by sorting. */
#include "http/events/opening_body.h"

#include "http/events/lines_body.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { POINTER_MAX = 96 };

/* In the order of enum cup_place after PLACE_AT_SITE. */
#define X(name, word) #word,
static const char *const places[] = {CUP_PLACE_TABLE(X) NULL};
#undef X

struct body_place {
    char site[CODE_SIZE]; /* first: no present_offset may be 0 */
    bool site_stated, place_stated, condition_stated;
    int place; /* index into places */
    struct body_line line;
};

struct body_shipment {
    struct uuid dispatch;
    char site[CODE_SIZE], to[CODE_SIZE];
    struct shape_list cups;
};

struct body_due {
    char participant[CODE_SIZE];
    struct decimal amount;
};

static const struct field place_fields[] = {
    {.name = "site",
     .form = FORM_CODE,
     .offset = offsetof(struct body_place, site),
     .present_offset = offsetof(struct body_place, site_stated),
     .description = "Code of the site where they are"},
    {.name = "place",
     .form = FORM_WORD,
     .offset = offsetof(struct body_place, place),
     .present_offset = offsetof(struct body_place, place_stated),
     .words = places,
     .description = "In place of a site; unaccounted cups count as forfeited"},
    {.name = "cup_type",
     .form = FORM_CODE,
     .required = true,
     .offset = offsetof(struct body_place, line.cup_type),
     .description = "Code of the cup type"},
    {.name = "quantity",
     .form = FORM_INTEGER,
     .required = true,
     .offset = offsetof(struct body_place, line.quantity),
     .minimum = 1,
     .maximum = QUANTITY_MAX},
    {.name = "condition",
     .form = FORM_WORD,
     .offset = offsetof(struct body_place, line.condition),
     .present_offset = offsetof(struct body_place, condition_stated),
     .words = cup_conditions,
     .description = "Of cups at a site: sound unless it says damaged"},
    CUP_IDS(struct body_place, line.ids),
};

static const struct field shipment_fields[] = {
    {.name = "dispatch",
     .form = FORM_UUID,
     .required = true,
     .offset = offsetof(struct body_shipment, dispatch),
     .description = "A new id; receipts and losses name it as they name a dispatch"},
    {.name = "site",
     .form = FORM_CODE,
     .required = true,
     .offset = offsetof(struct body_shipment, site),
     .description = "Code of the site that sent them"},
    {.name = "to",
     .form = FORM_CODE,
     .required = true,
     .offset = offsetof(struct body_shipment, to),
     .description = "Code of the site that they are sent to"},
    {.name = "cups",
     .form = FORM_LIST,
     .required = true,
     .offset = offsetof(struct body_shipment, cups),
     .minimum = 1,
     .maximum = CUP_LINES_MAX,
     .shape = &cups_line_shape,
     .description = "Each cup type, with its condition, once"},
};

static const struct field due_fields[] = {
    {.name = "participant",
     .form = FORM_CODE,
     .required = true,
     .offset = offsetof(struct body_due, participant),
     .description = "Code of the participant"},
    {.name = "amount",
     .form = FORM_AMOUNT,
     .required = true,
     .offset = offsetof(struct body_due, amount),
     .minimum = -1,
     .maximum = 1,
     .description = "Positive: the participant owes it; negative: it is owed to the participant; never zero"},
};

const struct shape opening_place_shape = SHAPE("OpeningPlace", struct body_place, place_fields);
const struct shape opening_shipment_shape = SHAPE("OpeningShipment", struct body_shipment, shipment_fields);
const struct shape opening_due_shape = SHAPE("OpeningDue", struct body_due, due_fields);

static void refuse(struct faults *faults, enum reason reason, const char *list, size_t i, const char *member,
                   const char *detail)
{
    char pointer[POINTER_MAX];
    snprintf(pointer, sizeof pointer, "/%s/%zu/%s", list, i, member);
    faults_add(faults, reason, pointer, "%s", detail);
}

/* An array of the faults' arena. NULL: memory is lacking, and a fault was added. */
static void *make_array(struct faults *faults, size_t count, size_t size)
{
    void *array = arena_array(faults->arena, count + 1, size);
    if (array == NULL)
        faults_add(faults, REASON_OVERLOADED, NULL, "out of memory");
    return array;
}

struct ordered {
    const void *element;
    size_t index;
};

/* A list whose elements must differ, and the fault of an element that equals one before it. */
struct distinct {
    const char *list, *member;
    enum reason reason;
    int (*compare)(const void *a, const void *b);
};

static void check_distinct(const struct distinct *distinct, struct ordered *elements, size_t count,
                           struct faults *faults)
{
    qsort(elements, count, sizeof *elements, distinct->compare);
    for (size_t i = 1; i < count; i++) {
        size_t left = elements[i - 1].index, right = elements[i].index;
        if (distinct->compare(&elements[i - 1], &elements[i]) == 0)
            refuse(faults, distinct->reason, distinct->list, right > left ? right : left, distinct->member,
                   "stands in the list already");
    }
}

static int compare_places(const void *a, const void *b)
{
    const struct place_line *left = ((const struct ordered *)a)->element;
    const struct place_line *right = ((const struct ordered *)b)->element;
    int order = (int)left->place - (int)right->place;
    if (order == 0)
        order = strcmp(left->site, right->site);
    if (order == 0)
        order = strcmp(left->cups.cup_type, right->cups.cup_type);
    return order != 0 ? order : (int)left->cups.damaged - (int)right->cups.damaged;
}

static int compare_due(const void *a, const void *b)
{
    const struct stated_due *left = ((const struct ordered *)a)->element;
    const struct stated_due *right = ((const struct ordered *)b)->element;
    return strcmp(left->participant, right->participant);
}

static int compare_shipments(const void *a, const void *b)
{
    const struct shipment *left = ((const struct ordered *)a)->element;
    const struct shipment *right = ((const struct ordered *)b)->element;
    return memcmp(left->dispatch.bytes, right->dispatch.bytes, sizeof left->dispatch.bytes);
}

static const struct distinct places_distinct = {"places", "cup_type", REASON_CUP_TYPE_REPEATED,
                                                compare_places};
static const struct distinct shipments_distinct = {"shipments", "dispatch", REASON_EVENT_ID_CONFLICT,
                                                   compare_shipments};
static const struct distinct due_distinct = {"due", "participant", REASON_PARTICIPANT_REPEATED, compare_due};

static void check_place(const struct body_place *stated, size_t i, struct faults *faults)
{
    if (!stated->site_stated && !stated->place_stated)
        refuse(faults, REASON_MEMBER_MISSING, "places", i, "site", "is required, or place in its stead");
    if (stated->site_stated && stated->place_stated)
        refuse(faults, REASON_MEMBER_UNKNOWN, "places", i, "place", "stands in place of site");
    if (stated->place_stated && stated->condition_stated)
        refuse(faults, REASON_MEMBER_UNKNOWN, "places", i, "condition", "is of cups at a site");
}

static void read_places(const struct shape_list *list, struct opening *opening, struct faults *faults)
{
    const struct body_place *stated = list->items;
    char pointer[POINTER_MAX];
    struct place_line *read = make_array(faults, list->count, sizeof *read);
    struct ordered *sorted = make_array(faults, list->count, sizeof *sorted);
    if (read == NULL || sorted == NULL)
        return;
    for (size_t i = 0; i < list->count; i++) {
        check_place(&stated[i], i, faults);
        read[i].place =
            stated[i].place_stated ? (enum cup_place)(stated[i].place + 1 + PLACE_AT_SITE) : PLACE_AT_SITE;
        memcpy(read[i].site, stated[i].site, CODE_SIZE);
        read[i].cups = cup_line_of(&stated[i].line);
        snprintf(pointer, sizeof pointer, "/places/%zu", i);
        cup_line_check(&read[i].cups, pointer, faults);
        sorted[i] = (struct ordered){&read[i], i};
    }
    check_distinct(&places_distinct, sorted, list->count, faults);
    opening->places = read;
    opening->place_count = list->count;
}

static void read_shipment(const struct body_shipment *stated, size_t i, struct shipment *shipment,
                          struct faults *faults)
{
    char pointer[POINTER_MAX];
    shipment->dispatch = stated->dispatch;
    memcpy(shipment->site, stated->site, CODE_SIZE);
    memcpy(shipment->to, stated->to, CODE_SIZE);
    snprintf(pointer, sizeof pointer, "/shipments/%zu/cups", i);
    lines_body_read(pointer, &stated->cups, &shipment->cups, faults);
    if (strcmp(shipment->site, shipment->to) == 0)
        refuse(faults, REASON_SAME_SITE, "shipments", i, "to", "is the site itself");
}

static void read_shipments(const struct shape_list *list, struct opening *opening, struct faults *faults)
{
    const struct body_shipment *stated = list->items;
    struct shipment *read = make_array(faults, list->count, sizeof *read);
    struct ordered *sorted = make_array(faults, list->count, sizeof *sorted);
    if (read == NULL || sorted == NULL)
        return;
    for (size_t i = 0; i < list->count; i++) {
        read_shipment(&stated[i], i, &read[i], faults);
        sorted[i] = (struct ordered){&read[i], i};
    }
    check_distinct(&shipments_distinct, sorted, list->count, faults);
    opening->shipments = read;
    opening->shipment_count = list->count;
}

static void read_due(const struct shape_list *list, struct opening *opening, struct faults *faults)
{
    const struct body_due *stated = list->items;
    struct stated_due *read = make_array(faults, list->count, sizeof *read);
    struct ordered *sorted = make_array(faults, list->count, sizeof *sorted);
    if (read == NULL || sorted == NULL)
        return;
    for (size_t i = 0; i < list->count; i++) {
        memcpy(read[i].participant, stated[i].participant, CODE_SIZE);
        read[i].amount = stated[i].amount;
        sorted[i] = (struct ordered){&read[i], i};
        if (stated[i].amount.unscaled == 0)
            refuse(faults, REASON_OUT_OF_RANGE, "due", i, "amount", "must not be zero");
    }
    check_distinct(&due_distinct, sorted, list->count, faults);
    opening->due = read;
    opening->due_count = list->count;
}

void opening_body_read(const struct opening_body *body, const struct opening **opening, struct faults *faults)
{
    struct opening *read = make_array(faults, 1, sizeof *read);
    *opening = read;
    if (read == NULL)
        return;
    read->bank = body->bank;
    read_places(&body->places, read, faults);
    read_shipments(&body->shipments, read, faults);
    read_due(&body->due, read, faults);
}
