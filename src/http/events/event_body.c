/* SPDX-License-Identifier: ISC */
/* A table of members for each kind of event, and the checks that tables cannot express: that a cup type is in
 * a list only once, and that a dispatch goes to another site. The writer makes the checks that need the
 * network. */
#include "http/events/event_body.h"

#include "app/posting/canonical.h"
#include "http/events/lines_body.h"
#include "http/events/opening_body.h"

#include <stdio.h>
#include <string.h>

enum { MASS_G_MAX = 1000000000 };

struct body {
    struct uuid event_id;
    int kind;
    char site[CODE_SIZE], scheme[CODE_SIZE], to[CODE_SIZE], batch[CODE_SIZE], host[CODE_SIZE];
    struct instant occurred_at;
    struct shape_list issued, returned, cups;
    bool amount_stated;
    struct decimal amount;
    bool tender_stated;
    bool bearer_stated;
    int tender, bearer; /* indexes into the words below */
    bool shipment_stated;
    struct uuid shipment;
    struct uuid refers;
    int64_t mass_g;
    const char *reference;
    struct shape_list legs;
    const char *reason;
    bool approved_stated;
    char approved_by[CODE_SIZE];
    struct opening_body opening;
};

/* A leg of a journal. */
struct body_leg {
    const char *account;
    struct decimal amount;
};

#define X(name, word) #word,
static const char *const tenders[] = {TENDER_TABLE(X) NULL};
static const char *const bearers[] = {BEARER_TABLE(X) NULL};
#undef X

/* clang-format off */
#define IN_LINE(member) .name = #member, .required = true, .offset = offsetof(struct body_line, member)
#define CUP_TYPE {IN_LINE(cup_type), .form = FORM_CODE, .description = "Code of the cup type"}
#define QUANTITY {IN_LINE(quantity), .form = FORM_INTEGER, .minimum = 1, .maximum = QUANTITY_MAX}
#define IDS CUP_IDS(struct body_line, ids)
/* clang-format on */

static const struct field sound_line_fields[] = {CUP_TYPE, QUANTITY, IDS};
static const struct field counted_line_fields[] = {
    CUP_TYPE,
    {.name = "counted",
     .form = FORM_INTEGER,
     .required = true,
     .offset = offsetof(struct body_line, quantity),
     .maximum = QUANTITY_MAX,
     .description = "Sound cups that the count found"},
    IDS,
};

static const struct field leg_fields[] = {
    {.name = "account",
     .form = FORM_TEXT,
     .required = true,
     .offset = offsetof(struct body_leg, account),
     .minimum = 1,
     .maximum = ACCOUNT_CHARACTERS_MAX,
     .description = "bank, bank_suspense, refund_variance, tax, operator_account, arrears(participant), "
                    "site_clearing(site), or an account of income or expense; bank only in a scheme that has "
                    "never read a bank statement"},
    {.name = "amount",
     .form = FORM_AMOUNT,
     .required = true,
     .offset = offsetof(struct body_leg, amount),
     .minimum = -1,
     .maximum = 1,
     .description = "Debits are positive; never zero"},
};

static const struct shape sound_line = SHAPE("SoundCups", struct body_line, sound_line_fields);
static const struct shape counted_line = SHAPE("CountedCups", struct body_line, counted_line_fields);
static const struct shape journal_leg = SHAPE("JournalLeg", struct body_leg, leg_fields);

/* The members. Each macro is one row. */
#define ROW(member, of_form) .name = #member, .form = of_form, .offset = offsetof(struct body, member)
#define REQUIRED             .required = true
/* clang-format off */
#define EVENT_ID {ROW(event_id, FORM_UUID), REQUIRED, \
                  .description = "Unique in the scheme for ever; a retry repeats it"}
#define KIND(list) {ROW(kind, FORM_WORD), REQUIRED, .words = list}
#define OCCURRED_AT {ROW(occurred_at, FORM_INSTANT), REQUIRED, .description = "When it happened at the counter"}
#define REFERENCE {ROW(reference, FORM_TEXT), .maximum = REFERENCE_CHARACTERS_MAX, \
                   .description = "The client's own reference; no personal data"}
#define SITE {ROW(site, FORM_CODE), REQUIRED, .description = "Code of the site"}
#define SCHEME {ROW(scheme, FORM_CODE), REQUIRED, .description = "Code of the scheme"}
#define SITE_OF_REVERSED {ROW(site, FORM_CODE), .description = "As in the original"}
#define SCHEME_OF_REVERSED {ROW(scheme, FORM_CODE), .description = "As in the original, if that names a scheme"}
#define LINES(list, element) {ROW(list, FORM_LIST), REQUIRED, .minimum = 1, .maximum = CUP_LINES_MAX, \
                              .shape = &element, .description = "Each cup type, with its condition and home, once"}
#define AMOUNT(sign, meaning) {ROW(amount, FORM_AMOUNT), .minimum = sign, .maximum = 1, \
                               .present_offset = offsetof(struct body, amount_stated), .description = meaning}
#define TENDER {ROW(tender, FORM_WORD), .words = tenders, .present_offset = offsetof(struct body, tender_stated)}
#define TO {ROW(to, FORM_CODE), REQUIRED, .description = "Code of the site that they are sent to"}
#define HOST {ROW(host, FORM_CODE), .description = "Code of the scheme that sent them, if it is another one: cups that it sends home"}
#define BATCH {ROW(batch, FORM_CODE), .description = "Code of the batch of retired cups that they were made from"}
#define REFERS(member, meaning) {.name = member, .form = FORM_UUID, REQUIRED, \
                                 .offset = offsetof(struct body, refers), .description = meaning}
#define BEARER {ROW(bearer, FORM_WORD), .words = bearers, .present_offset = offsetof(struct body, bearer_stated), \
                .description = "Bearer of the loss; the shipment's or the scheme's unless given. The event is recorded with it"}
#define SHIPMENT {ROW(shipment, FORM_UUID), .present_offset = offsetof(struct body, shipment_stated), \
                  .description = "The requested shipment that it fulfils, in whole or in part"}
#define MASS_G {ROW(mass_g, FORM_INTEGER), .minimum = 0, .maximum = MASS_G_MAX, \
                .description = "Grams retired, as weighed"}

#define LEGS {ROW(legs, FORM_LIST), REQUIRED, .minimum = 2, .maximum = JOURNAL_LEGS_MAX, .shape = &journal_leg, \
              .description = "They sum to zero"}
#define REASON {ROW(reason, FORM_TEXT), REQUIRED, .minimum = 1, .maximum = REASON_CHARACTERS_MAX, \
                .description = "Why; no personal data"}
#define APPROVED_BY {ROW(approved_by, FORM_CODE), .present_offset = offsetof(struct body, approved_stated), \
                     .description = "The key that approved it, as recorded; never posted"}

#define OPENED(member, of_form) .name = #member, .form = of_form, .offset = offsetof(struct body, opening.member)
#define PLACES {OPENED(places, FORM_LIST), REQUIRED, .minimum = 1, .maximum = OPENING_PLACES_MAX, \
                .shape = &opening_place_shape, .description = "Each cup type once for a place, and by condition at a site"}
#define SHIPMENTS {OPENED(shipments, FORM_LIST), .maximum = OPENING_SHIPMENTS_MAX, .shape = &opening_shipment_shape, \
                   .description = "Cups on the road between two sites"}
#define BANK {OPENED(bank, FORM_AMOUNT), REQUIRED, .minimum = -1, .maximum = 1, \
              .description = "Balance of the bank account, without money under way"}
#define DUE {OPENED(due, FORM_LIST), .maximum = OPENING_DUE_MAX, .shape = &opening_due_shape, \
             .description = "What participants owe or are owed, each once"}

/* The members for each kind's place. */
#define PLACE_MEMBERS_SITE        SITE
#define PLACE_MEMBERS_SCHEME      SCHEME
#define PLACE_MEMBERS_OF_REVERSED SITE_OF_REVERSED, SCHEME_OF_REVERSED

/* The members besides event_id, kind, occurred_at, the place, and reference. The compiler demands
 * a macro for each kind that clients post. */
#define MEMBERS_ISSUE        LINES(issued, sound_line), AMOUNT(0, "The customer's payment"), TENDER
#define MEMBERS_RETURN       LINES(returned, returned_line_shape), AMOUNT(0, "The amount paid out"), TENDER
#define MEMBERS_EXCHANGE     LINES(returned, returned_line_shape), LINES(issued, sound_line), \
                             AMOUNT(-1, "The customer's net payment; negative: it was paid out"), TENDER
#define MEMBERS_SUPPLY       LINES(cups, sound_line), BATCH
#define MEMBERS_DISPATCH     LINES(cups, cups_line_shape), TO, SHIPMENT
#define MEMBERS_RECEIPT      LINES(cups, cups_line_shape), REFERS("dispatch", "event_id of the dispatch"), HOST
#define MEMBERS_TRANSIT_LOSS LINES(cups, cups_line_shape), REFERS("dispatch", "event_id of the dispatch"), HOST, BEARER
#define MEMBERS_DAMAGE       LINES(cups, sound_line)
#define MEMBERS_RETIRE       LINES(cups, sound_line), MASS_G
#define MEMBERS_COUNT        LINES(cups, counted_line)
#define MEMBERS_REVERSAL     REFERS("reverses", "event_id of the event that it undoes"), APPROVED_BY
#define MEMBERS_FORFEIT      LINES(cups, sound_line)
#define MEMBERS_REINSTATE    LINES(cups, sound_line)
#define MEMBERS_JOURNAL      LEGS, REASON, APPROVED_BY
#define MEMBERS_OPENING      PLACES, SHIPMENTS, BANK, DUE, APPROVED_BY

#define X(NAME, word, number, posters, activity, place, refers, effect, after_end, undone)                                     \
    static const char *const kind_##word[] = {#word, NULL};                                                  \
    static const struct field fields_##word[] = {EVENT_ID, KIND(kind_##word), OCCURRED_AT,                   \
                                                 PLACE_MEMBERS_##place, MEMBERS_##NAME, REFERENCE};
EVENT_KIND_TABLE(X)
#undef X

static const struct shape shapes[KIND_LIMIT] = {
#define X(NAME, word, ...) [KIND_##NAME] = SHAPE("Event_" #word, struct body, fields_##word),
    EVENT_KIND_TABLE(X)
#undef X
};
/* clang-format on */

const struct shape *event_body_shape(enum entry_kind kind)
{
    return kind < KIND_LIMIT && shapes[kind].fields != NULL ? &shapes[kind] : NULL;
}

/* KIND_NONE: faults were added. */
static enum entry_kind read_kind(const json_t *json, struct faults *faults)
{
    const json_t *kind = json_object_get(json, "kind");
    if (!json_is_object(json))
        faults_add(faults, REASON_WRONG_TYPE, "", "an event must be an object");
    else if (kind == NULL)
        faults_add(faults, REASON_MEMBER_MISSING, "/kind", "is required");
    else if (!json_is_string(kind))
        faults_add(faults, REASON_WRONG_TYPE, "/kind", "must be a string");
    else {
        for (enum entry_kind known = KIND_NONE; known < KIND_LIMIT; known++)
            if (event_body_shape(known) != NULL &&
                strcmp(json_string_value(kind), entry_kind_word(known)) == 0)
                return known;
        faults_add(faults, REASON_VALUE_UNKNOWN, "/kind", "is no kind of event that can be posted");
    }
    return KIND_NONE;
}

static void fill_event(const struct body *body, struct event *event)
{
    event->id = body->event_id;
    memcpy(event->site, body->site, CODE_SIZE);
    memcpy(event->scheme, body->scheme, CODE_SIZE);
    memcpy(event->to, body->to, CODE_SIZE);
    memcpy(event->batch, body->batch, CODE_SIZE);
    memcpy(event->host, body->host, CODE_SIZE);
    event->occurred_at = body->occurred_at;
    event->amount_stated = body->amount_stated;
    event->amount = body->amount;
    event->tender = body->tender_stated ? (enum tender)(body->tender + 1) : TENDER_NONE;
    event->bearer = body->bearer_stated ? (enum bearer)(body->bearer + 1) : BEARER_NONE;
    event->names_shipment = body->shipment_stated;
    event->shipment = body->shipment;
    event->refers = body->refers;
    event->mass_g = body->mass_g;
    event->reference = body->reference;
    event->reason = body->reason;
}

static void read_legs(const struct body *body, struct event *event, struct faults *faults)
{
    const struct body_leg *legs = body->legs.items;
    char pointer[64];
    struct stated_leg *read = arena_array(faults->arena, body->legs.count + 1, sizeof *read);
    if (read == NULL) {
        faults_add(faults, REASON_OVERLOADED, NULL, "out of memory");
        return;
    }
    for (size_t i = 0; i < body->legs.count; i++) {
        read[i] = (struct stated_leg){legs[i].account, legs[i].amount};
        if (legs[i].amount.unscaled != 0)
            continue;
        snprintf(pointer, sizeof pointer, "/legs/%zu/amount", i);
        faults_add(faults, REASON_OUT_OF_RANGE, pointer, "must not be zero");
    }
    event->legs = read;
    event->leg_count = body->legs.count;
}

/* A reversal names the same place as its original: a site, or a scheme instead of a site. */
static void check_place(const struct event *event, struct faults *faults)
{
    bool site = *event->site != '\0', scheme = *event->scheme != '\0';
    if (!site && !scheme)
        faults_add(faults, REASON_MEMBER_MISSING, "/site", "is required, or scheme in its place");
    if (site && scheme)
        faults_add(faults, REASON_MEMBER_UNKNOWN, "/scheme", "stands in place of site");
}

static bool add_canonical(struct event *event, struct buffer *scratch, struct faults *faults)
{
    buffer_reset(scratch);
    canonical_event(event, scratch);
    event->text = scratch->failed ? NULL : arena_copy(faults->arena, scratch->data, scratch->length);
    if (event->text == NULL) {
        faults_add(faults, REASON_OVERLOADED, NULL, "out of memory");
        return false;
    }
    event->text_length = scratch->length;
    sha256_of(event->text, event->text_length, &event->digest);
    return true;
}

bool event_body_read(const json_t *json, struct event *event, struct buffer *scratch, struct faults *faults)
{
    static const struct body defaults = {.mass_g = -1};
    struct body body;

    *event = (struct event){.kind = read_kind(json, faults)};
    if (event->kind == KIND_NONE || !shape_decode(&shapes[event->kind], json, "", &defaults, &body, faults))
        return false;
    fill_event(&body, event);
    lines_body_read("/issued", &body.issued, &event->issued, faults);
    lines_body_read("/returned", &body.returned, &event->returned, faults);
    lines_body_read("/cups", &body.cups, &event->cups, faults);
    if (event->kind == KIND_JOURNAL)
        read_legs(&body, event, faults);
    if (event->kind == KIND_OPENING)
        opening_body_read(&body.opening, &event->opening, faults);
    if (body.approved_stated)
        faults_add(faults, REASON_MEMBER_UNKNOWN, "/approved_by", "is for a second person to say");
    if (event->kind == KIND_DISPATCH && strcmp(event->to, event->site) == 0)
        faults_add(faults, REASON_SAME_SITE, "/to", "is the site itself");
    check_place(event, faults);
    return faults->count == 0 && add_canonical(event, scratch, faults);
}

bool event_body_id(const json_t *json, struct uuid *id)
{
    const json_t *text = json_object_get(json, "event_id");
    return text != NULL && uuid_parse(json_string_value(text), json_string_length(text), id);
}
