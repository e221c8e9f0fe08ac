/* SPDX-License-Identifier: ISC */
/* Reference data: lists, shows and puts each kind of thing in the same way, by a table of the differences.
 * reference_document.c has the document that holds all of them. */
#include "app/network/reference.h"

#include "http/request/json_text.h"
#include "http/request/slice.h"
#include "http/resources/handlers.h"
#include "http/resources/proposing.h"
#include "http/resources/reference_shapes.h"
#include "store/agreement_store.h"

#include <string.h>

enum { SHOWN_MAX = 1 << 20 };

/* A part of the path, and the member of the row that keeps it. */
struct part {
    const char *name;
    size_t offset;
    bool is_date; /* a date, not a code */
};

#define CODE(type, member)                                                                                   \
    {                                                                                                        \
#member, offsetof(struct type, member), false                                                        \
    }
#define DATE(type, member)                                                                                   \
    {                                                                                                        \
#member, offsetof(struct type, member), true                                                         \
    }

static const struct {
    const struct shape *shape; /* the shape of a body to be put */
    bool of_scheme;            /* the first part of the path is the scheme's code */
    size_t part_count;
    struct part parts[3]; /* the parts of the path after the scheme's code */
    bool of_owner;        /* the first part names a thing of this kind, which must be there: */
    enum reference_kind owner;
} kinds[] = {
    [REFERENCE_CUP_TYPE] = {&shape_cup_type_put, false, 1, {CODE(cup_type_row, cup_type)}},
    [REFERENCE_PARTICIPANT] = {&shape_participant_put, false, 1, {CODE(participant_row, participant)}},
    [REFERENCE_SCHEME] = {&shape_scheme_put, false, 1, {CODE(scheme_row, scheme)}},
    [REFERENCE_TERMS] = {&shape_terms_put, true, 1, {DATE(terms_row, effective_date)}},
    [REFERENCE_REFUND_VALUE] = {&shape_refund_value_put,
                                true,
                                2,
                                {CODE(refund_value_row, cup_type), DATE(refund_value_row, effective_date)}},
    [REFERENCE_SITE] = {&shape_site_put, false, 1, {CODE(site_row, site)}},
    [REFERENCE_OFFICE_ACCOUNTS] = {&shape_office_accounts_put,
                                   true,
                                   1,
                                   {DATE(office_accounts_row, effective_date)}},
    [REFERENCE_TAX_REGISTRATION] = {&shape_tax_registration_put,
                                    false,
                                    2,
                                    {CODE(tax_registration_row, participant),
                                     DATE(tax_registration_row, effective_date)},
                                    true,
                                    REFERENCE_PARTICIPANT},
    [REFERENCE_SITE_KIND] = {&shape_site_kind_put,
                             false,
                             2,
                             {CODE(site_kind_row, site), DATE(site_kind_row, effective_date)},
                             true,
                             REFERENCE_SITE},
    [REFERENCE_AGREEMENT] = {&shape_agreement_put,
                             false,
                             3,
                             {CODE(agreement_row, home), CODE(agreement_row, host),
                              DATE(agreement_row, effective_date)},
                             true,
                             REFERENCE_SCHEME},
};

static struct reference_query query_of(const struct request *request, enum reference_kind kind)
{
    struct reference_query query = {.kind = kind, .reader = request->identity};
    memcpy(query.names, request->parts, sizeof query.names);
    return query;
}
_Static_assert((int)REFERENCE_NAMES_MAX == (int)PATH_PARAMETERS_MAX, "a path names what a query does");

static enum store_result read_into(const struct request *request, const struct reference_query *query,
                                   struct buffer *json, struct json_slice *slice)
{
    return store_reference_read(request->pg, query, json, slice);
}

/* Whether the key may know of the scheme that the path begins with. If not, the answer says so. */
static bool scheme_is_known(const struct request *request, struct answer *answer, enum reference_kind kind)
{
    return !kinds[kind].of_scheme || request_scheme(request, answer, request->parts[0]) != NULL;
}

/* Whether the key may know of the participant or site that the path begins with. If not, the answer says so.
 */
static bool owner_is_known(const struct request *request, struct answer *answer, enum reference_kind kind)
{
    const struct reference_query query = {
        .kind = kinds[kind].owner, .reader = request->identity, .names = {request->parts[0]}};
    struct json_slice slice = {0};
    struct buffer unshown;
    if (!kinds[kind].of_owner)
        return true;
    buffer_init(&unshown, SHOWN_MAX);
    enum store_result result = read_into(request, &query, &unshown, &slice);
    buffer_dispose(&unshown);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (slice.count == 0)
        answer_not_found(answer);
    return result == STORE_OK && slice.count > 0;
}

/* A key that is bound to sites knows their participants. */
static bool knows_participant(const struct request *request, const struct participant *participant)
{
    const struct network *network = &request->snapshot->network;
    if (identity_has_all(request->identity) || request->identity->participant == participant->id)
        return true;
    for (size_t i = 0; i < network->site_count; i++)
        if (network->sites[i].participant == participant->id &&
            identity_has_site(request->identity, &network->sites[i]))
            return true;
    return false;
}

/* Reads ?scheme= and ?participant=, which only the routes of lists take that have them. A thing that the key
 * may not know of is answered as one that is not there. */
static bool filters_are_known(const struct request *request, struct answer *answer,
                              struct reference_query *query)
{
    const char *scheme_code = request_query(request, "scheme");
    const char *participant_code = request_query(request, "participant");
    if (scheme_code != NULL) {
        const struct scheme *scheme = request_scheme(request, answer, scheme_code);
        query->scheme = scheme != NULL ? scheme->id : 0;
    }
    if (participant_code != NULL) {
        const struct participant *participant =
            network_participant(&request->snapshot->network, participant_code);
        if (participant == NULL || !knows_participant(request, participant))
            answer_not_found(answer);
        else
            query->participant = participant->id;
    }
    return answer->faults.count == 0;
}

static void list(const struct request *request, struct answer *answer, enum reference_kind kind)
{
    struct reference_query query = query_of(request, kind);
    struct key_slice wanted;
    struct json_slice slice;
    if (!scheme_is_known(request, answer, kind) || !owner_is_known(request, answer, kind) ||
        !filters_are_known(request, answer, &query) || !slice_begin_keys(request, answer, &wanted))
        return;
    query.after = wanted.after;
    query.limit = wanted.asked.limit;
    enum store_result result = read_into(request, &query, &answer->body, &slice);
    slice_end_keys(request, answer, &wanted, result, &slice);
}

static void set_tag(struct answer *answer, const char *tag)
{
    answer->etag = arena_copy(answer->arena, tag, strlen(tag));
}

static void show(const struct request *request, struct answer *answer, enum reference_kind kind)
{
    struct reference_query query = query_of(request, kind);
    struct json_slice slice;
    char tag[REFERENCE_TAG_SIZE];
    enum store_result result = read_into(request, &query, &answer->body, &slice);
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
    } else if (slice.count == 0) {
        answer_not_found(answer);
    } else {
        reference_tag(&answer->body, tag);
        set_tag(answer, tag);
    }
}

static void read_part(const struct part *part, const char *text, void *row, struct faults *faults)
{
    char *into = (char *)row + part->offset;
    if (part->is_date && !date_parse(text, strlen(text), (struct date *)(void *)into))
        faults_add_parameter(faults, REASON_PARAMETER_INVALID, part->name, "must be a date, as 2026-05-12");
    else if (!part->is_date && !shape_is_code(text, strlen(text)))
        faults_add_parameter(faults, REASON_PARAMETER_INVALID, part->name,
                             "must be 1 to 32 characters of a-z, 0-9 and -, and not begin with -");
    else if (!part->is_date)
        memcpy(into, text, strlen(text) + 1);
}

/* The row that the body and the path describe together. `valid`: the body has its shape; if not, members are
 * lacking. NULL: there is no row. */
static void *read_row(const struct request *request, const json_t *body, const char *const *names,
                      struct answer *answer, enum reference_kind kind, bool *valid)
{
    const struct shape *shape = kinds[kind].shape;
    void *row = arena_alloc(request->arena, shape->size);
    if (row == NULL) {
        answer_store_failure(answer, STORE_UNAVAILABLE);
        return NULL;
    }
    if (body == NULL) {
        faults_add(&answer->faults, REASON_NOT_JSON, "", "there is no body");
        return NULL;
    }
    *valid = shape_decode(shape, body, "", NULL, row, &answer->faults);
    size_t faults_before = answer->faults.count;
    for (size_t i = 0; i < kinds[kind].part_count; i++)
        read_part(&kinds[kind].parts[i], names[i + kinds[kind].of_scheme], row, &answer->faults);
    return answer->faults.count == faults_before ? row : NULL;
}

/* The kind of a proposal to put a thing. Only these things are ever proposed by themselves. */
static enum proposal_what proposal_of(enum reference_kind kind)
{
    return kind == REFERENCE_SCHEME      ? PROPOSAL_SCHEME
           : kind == REFERENCE_AGREEMENT ? PROPOSAL_AGREEMENT
                                         : PROPOSAL_PARTICIPANT;
}

/* The thing's name in a proposal: the first part of its path, or all parts of an agreement's. */
static const char *name_of(const struct request *request, enum reference_kind kind)
{
    struct buffer name;
    if (kind != REFERENCE_AGREEMENT)
        return request->parts[0];
    buffer_init(&name, SHOWN_MAX);
    buffer_printf(&name, "%s/%s/%s", request->parts[0], request->parts[1], request->parts[2]);
    const char *copy = name.failed ? NULL : arena_copy(request->arena, name.data, name.length);
    buffer_dispose(&name);
    return copy != NULL ? copy : "";
}

/* The parts of the name that a proposal keeps. */
static void split_name(const struct request *request, const char *name,
                       const char *names[static REFERENCE_NAMES_MAX])
{
    for (size_t i = 0; i < REFERENCE_NAMES_MAX; i++) {
        size_t length = strcspn(name, "/");
        names[i] = length > 0 ? arena_copy(request->arena, name, length) : NULL;
        name += length + (name[length] == '/');
    }
}

static void put(const struct request *request, struct answer *answer, enum reference_kind kind)
{
    struct buffer changes;
    struct reference_shown shown = {.json = &answer->body};
    struct control control = control_of(request, answer, proposal_of(kind), name_of(request, kind));
    bool valid = false;
    struct reference_put change = {
        .kind = kind,
        .row = read_row(request, request->json, request->parts, answer, kind, &valid),
        .if_match = request->if_match,
        .control = &control,
        .reader = request->identity,
    };
    if (!request_why(request, answer, &control.author.why) || change.row == NULL)
        return;
    change.is_faulty = !valid;
    buffer_init(&changes, CHANGES_MAX);
    control.changes = &changes;
    memcpy(change.names, request->parts, sizeof change.names);
    enum store_result result =
        reference_put(request->pg, request->service->snapshots, &change, &shown, &answer->faults);
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
    } else if (control.proposed) {
        answer_proposed(request, answer);
    } else if (answer->faults.count == 0) {
        answer->status = shown.created ? 201 : 200;
        answer->location = shown.created ? request->path : NULL;
        set_tag(answer, shown.tag);
        answer_changes(request, answer, &control);
    }
    buffer_dispose(&changes);
}

void approve_put(const struct request *request, struct answer *answer, const struct kept_write *kept,
                 json_t *body, struct control *control)
{
    enum reference_kind kind = kept->what == PROPOSAL_SCHEME      ? REFERENCE_SCHEME
                               : kept->what == PROPOSAL_AGREEMENT ? REFERENCE_AGREEMENT
                                                                  : REFERENCE_PARTICIPANT;
    const char *names[REFERENCE_NAMES_MAX];
    split_name(request, kept->name, names);
    struct buffer unshown;
    bool valid = false;
    struct reference_shown shown = {.json = &unshown};
    struct reference_put change = {
        .kind = kind,
        .row = read_row(request, body, names, answer, kind, &valid),
        .control = control,
        .reader = request->identity,
    };
    if (change.row == NULL || !valid)
        return;
    memcpy(change.names, names, sizeof change.names);
    buffer_init(&unshown, SHOWN_MAX);
    enum store_result result =
        reference_put(request->pg, request->service->snapshots, &change, &shown, &answer->faults);
    buffer_dispose(&unshown);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
}

#define LIST(plural, kind)                                                                                   \
    void handle_##plural##_list(const struct request *request, struct answer *answer)                        \
    {                                                                                                        \
        list(request, answer, kind);                                                                         \
    }
#define SHOW_AND_PUT(singular, kind)                                                                         \
    void handle_##singular##_get(const struct request *request, struct answer *answer)                       \
    {                                                                                                        \
        show(request, answer, kind);                                                                         \
    }                                                                                                        \
    void handle_##singular##_put(const struct request *request, struct answer *answer)                       \
    {                                                                                                        \
        put(request, answer, kind);                                                                          \
    }
LIST(schemes, REFERENCE_SCHEME)
SHOW_AND_PUT(scheme, REFERENCE_SCHEME)
LIST(terms, REFERENCE_TERMS)
SHOW_AND_PUT(terms, REFERENCE_TERMS)
LIST(refund_values, REFERENCE_REFUND_VALUE)
SHOW_AND_PUT(refund_value, REFERENCE_REFUND_VALUE)
LIST(office_accounts, REFERENCE_OFFICE_ACCOUNTS)
SHOW_AND_PUT(office_accounts, REFERENCE_OFFICE_ACCOUNTS)
LIST(participants, REFERENCE_PARTICIPANT)
SHOW_AND_PUT(participant, REFERENCE_PARTICIPANT)
LIST(sites, REFERENCE_SITE)
SHOW_AND_PUT(site, REFERENCE_SITE)
LIST(tax_registrations, REFERENCE_TAX_REGISTRATION)
SHOW_AND_PUT(tax_registration, REFERENCE_TAX_REGISTRATION)
LIST(site_kinds, REFERENCE_SITE_KIND)
SHOW_AND_PUT(site_kind, REFERENCE_SITE_KIND)
LIST(cup_types, REFERENCE_CUP_TYPE)
SHOW_AND_PUT(cup_type, REFERENCE_CUP_TYPE)
LIST(agreements, REFERENCE_AGREEMENT)
SHOW_AND_PUT(agreement, REFERENCE_AGREEMENT)
