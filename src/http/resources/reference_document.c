/* SPDX-License-Identifier: ISC */
/* All reference data as one document, or as lines that each are one; and the other way round. */
#include "http/request/json_text.h"
#include "http/resources/handlers.h"
#include "http/resources/proposing.h"
#include "http/resources/reference_lines.h"
#include "http/resources/reference_shapes.h"

#include <string.h>

/* A row of terms or of the office's codes may be long. */
enum { PIECE_ROWS = 500, PIECE_LONG_ROWS = 5 };

/* The document while it is made. It may be long, so it is sent piece by piece, unless a page is to be made
 * from the whole. */
struct document {
    const struct request *request;
    struct answer *answer;
    bool over; /* stop here: the database failed, a fault says why, or the client has gone */
};

static void add_text(struct document *document, const char *text)
{
    if (!document->over)
        buffer_add_text(&document->answer->body, text);
}

static void read_piece(struct document *document, const struct reference_query *query,
                       struct json_slice *slice)
{
    struct answer *answer = document->answer;
    enum store_result result = store_reference_read(document->request->pg, query, &answer->body, slice);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    document->over = result != STORE_OK;
}

static void send_piece(struct document *document)
{
    document->over =
        document->over || (document->answer->media != MEDIA_HTML && !answer_goes_on(document->answer));
}

/* `dress` NULL: the rows are elements of a list. */
static void add_rows(struct document *document, enum reference_kind kind, const char *scheme,
                     const struct row_dress *dress)
{
    bool are_long = kind == REFERENCE_TERMS || kind == REFERENCE_OFFICE_ACCOUNTS;
    struct reference_query query = {.kind = kind,
                                    .reader = document->request->identity,
                                    .names = {scheme},
                                    .limit = are_long ? PIECE_LONG_ROWS : PIECE_ROWS,
                                    .dress = dress};
    struct json_slice slice = {.more = true};
    char last[SLICE_KEY_SIZE];
    while (slice.more && !document->over) {
        if (query.after != NULL && dress == NULL)
            add_text(document, ",");
        read_piece(document, &query, &slice);
        query.after = strcpy(last, slice.last);
        send_piece(document);
    }
}

static void add_list(struct document *document, const char *opening, enum reference_kind kind,
                     const char *scheme)
{
    add_text(document, opening);
    add_rows(document, kind, scheme, NULL);
    add_text(document, "]");
}

/* Adds the dated lists of a scheme before its closing brace; the codes of the office's ledger only for the
 * office. */
static void add_dated(struct document *document, const char *scheme)
{
    object_reopen(&document->answer->body);
    add_list(document, ",\"terms\":[", REFERENCE_TERMS, scheme);
    add_list(document, ",\"refund_values\":[", REFERENCE_REFUND_VALUE, scheme);
    if (role_reach(document->request->identity->role) == REACH_EVERYTHING)
        add_list(document, ",\"office_accounts\":[", REFERENCE_OFFICE_ACCOUNTS, scheme);
    add_text(document, "}");
}

/* Reads the schemes in turn. `dress` NULL: they are elements of a list. */
static void add_schemes(struct document *document, const struct row_dress *dress)
{
    struct reference_query query = {
        .kind = REFERENCE_SCHEME, .reader = document->request->identity, .limit = 1};
    struct json_slice slice = {.more = true};
    char scheme[SLICE_KEY_SIZE];
    while (slice.more && !document->over) {
        if (query.after != NULL && dress == NULL)
            add_text(document, ",");
        if (dress != NULL)
            add_text(document, dress->begin);
        read_piece(document, &query, &slice);
        if (document->over || slice.count == 0)
            break;
        query.after = strcpy(scheme, slice.last);
        add_dated(document, scheme);
        if (dress != NULL)
            add_text(document, dress->end);
    }
}

static void add_document(struct document *document)
{
    add_list(document, "{\"cup_types\":[", REFERENCE_CUP_TYPE, NULL);
    add_list(document, ",\"participants\":[", REFERENCE_PARTICIPANT, NULL);
    add_text(document, ",\"schemes\":[");
    add_schemes(document, NULL);
    add_text(document, "]");
    add_list(document, ",\"sites\":[", REFERENCE_SITE, NULL);
    add_list(document, ",\"tax_registrations\":[", REFERENCE_TAX_REGISTRATION, NULL);
    add_list(document, ",\"site_kinds\":[", REFERENCE_SITE_KIND, NULL);
    if (role_reach(document->request->identity->role) == REACH_EVERYTHING)
        add_list(document, ",\"agreements\":[", REFERENCE_AGREEMENT, NULL);
    add_text(document, "}");
}

/* A line is a document of a single thing. */
static void add_lines(struct document *document)
{
#define LINES_OF(list) (&(const struct row_dress){"{\"" list "\":[", "]}\n"})
    add_rows(document, REFERENCE_CUP_TYPE, NULL, LINES_OF("cup_types"));
    add_rows(document, REFERENCE_PARTICIPANT, NULL, LINES_OF("participants"));
    add_schemes(document, LINES_OF("schemes"));
    add_rows(document, REFERENCE_SITE, NULL, LINES_OF("sites"));
    add_rows(document, REFERENCE_TAX_REGISTRATION, NULL, LINES_OF("tax_registrations"));
    add_rows(document, REFERENCE_SITE_KIND, NULL, LINES_OF("site_kinds"));
    if (role_reach(document->request->identity->role) == REACH_EVERYTHING)
        add_rows(document, REFERENCE_AGREEMENT, NULL, LINES_OF("agreements"));
#undef LINES_OF
}

/* All parts come from the same view of the data. */
void handle_reference_get(const struct request *request, struct answer *answer)
{
    struct document document = {.request = request, .answer = answer};
    enum store_result result = pg_begin_read(request->pg);
    if (result == STORE_OK && answer->media == MEDIA_NDJSON)
        add_lines(&document);
    else if (result == STORE_OK)
        add_document(&document);
    if (result == STORE_OK && !document.over)
        result = pg_commit(request->pg);
    pg_rollback(request->pg);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
}

static struct reference_counts count_things(const struct reference *document)
{
    struct reference_counts counts = {
        .schemes = document->schemes.count,
        .participants = document->participants.count,
        .sites = document->sites.count,
        .cup_types = document->cup_types.count,
        .refund_values = document->refund_values.count,
        .tax_registrations = document->tax_registrations.count,
        .site_kinds = document->site_kinds.count,
        .agreements = document->agreements.count,
    };
    const struct scheme_row *schemes = document->schemes.items;
    for (size_t i = 0; i < document->schemes.count; i++) {
        counts.terms += schemes[i].terms.count;
        counts.refund_values += schemes[i].refund_values.count;
        counts.office_accounts += schemes[i].office_accounts.count;
    }
    return counts;
}

static void answer_taken(const struct reference_counts *counts, struct answer *answer)
{
    const char *separator = "{";
#define X(list)                                                                                              \
    buffer_printf(&answer->body, "%s\"" #list "\":%zu", separator, counts->list);                            \
    separator = ",";
    REFERENCE_LISTS(X)
#undef X
    buffer_add_char(&answer->body, '}');
}

/* `scheme` is the one whose refund values the shape takes; NULL: it takes the document of all lists. */
static void take_document(const struct request *request, struct answer *answer, const struct shape *shape,
                          const char *scheme)
{
    struct reference document;
    struct buffer changes;
    json_t *body = request_json(request, answer);
    struct control control = control_of(request, answer, PROPOSAL_REFERENCE, "");
    if (body == NULL || !request_why(request, answer, &control.author.why))
        return;
    /* Faults of the shape do not hide what else is wrong: the rows know which of them have some. */
    (void)!shape_decode(shape, body, "", NULL, &document, &answer->faults);
    document.scheme = scheme;
    const struct reference_counts counts = count_things(&document);
    buffer_init(&changes, CHANGES_MAX);
    control.changes = &changes;
    enum store_result result =
        reference_apply(request->pg, request->service->snapshots, &document, &control, &answer->faults);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (control.proposed)
        answer_proposed(request, answer);
    else
        answer_taken(&counts, answer);
    if (result == STORE_OK)
        answer_changes(request, answer, &control);
    buffer_dispose(&changes);
}

/* A change that takes two people would have to be kept as a whole, so it is refused here. */
static void take_lines(const struct request *request, struct answer *answer)
{
    struct reference_lines lines;
    struct buffer changes;
    struct control control = control_of(request, answer, PROPOSAL_REFERENCE, "");
    if (!request_why(request, answer, &control.author.why))
        return;
    control.by_one = true;
    buffer_init(&changes, CHANGES_MAX);
    control.changes = &changes;
    reference_lines_begin(&lines, request, &answer->faults);
    enum store_result result = reference_apply_pieces(request->pg, request->service->snapshots, &lines.pieces,
                                                      &control, &answer->faults);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else
        answer_taken(&lines.counts, answer);
    reference_lines_end(&lines);
    if (result == STORE_OK)
        answer_changes(request, answer, &control);
    buffer_dispose(&changes);
}

void handle_reference_post(const struct request *request, struct answer *answer)
{
    if (request->lines)
        take_lines(request, answer);
    else
        take_document(request, answer, &shape_reference, NULL);
}

void handle_refund_values_post(const struct request *request, struct answer *answer)
{
    const struct scheme *scheme = request_scheme(request, answer, request->parts[0]);
    if (scheme != NULL)
        take_document(request, answer, &shape_refund_values, request->parts[0]);
}

void approve_document(const struct request *request, struct answer *answer, const struct kept_write *kept,
                      json_t *body, struct control *control)
{
    struct reference document;
    (void)kept;
    if (!shape_decode(&shape_reference, body, "", NULL, &document, &answer->faults))
        return;
    enum store_result result =
        reference_apply(request->pg, request->service->snapshots, &document, control, &answer->faults);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
}
