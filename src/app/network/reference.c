/* SPDX-License-Identifier: ISC */
/* The transaction of a change. The lists of a document are put one after the other, each with one statement
 * for many rows: facts are read for all rows, each row is checked, and the rows without a fault are put. A
 * row with a fault, also of its shape, is not put, and rows that refer to it are not blamed for that. If
 * there is any fault, the whole change is rolled back in the end.
 *
 * Schemes post while a change is made: their heads are taken only to commit it. Before that, the change holds
 * the heads of schemes without entries, and of all if it depends on what a scheme has not posted yet. */
#include "app/network/reference.h"

#include "app/network/agreements.h"
#include "app/network/reference_dated.h"
#include "app/network/reference_fees.h"
#include "app/network/reference_things.h"
#include "app/transaction/transaction.h"
#include "base/clock.h"
#include "store/agreement_store.h"
#include "store/change_store.h"
#include "store/ledger_store.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Rows that one statement takes. */
enum { ROWS_AT_ONCE = 5000 };
/* Members that a dry run lists. */
enum { CHANGES_SHOWN = 1000 };

#define KEY_SIZE(type, last_member)                                                                          \
    (offsetof(struct type, last_member) + sizeof((struct type *)0)->last_member)
#define ROW(type) sizeof(struct type), offsetof(struct type, is_faulty)

static const struct {
    size_t row_size, faulty_offset;
    size_t key_size; /* bytes at the row's beginning that name it; unused bytes are zero */
    put_listing *put;
} kinds[] = {
    [REFERENCE_CUP_TYPE] = {ROW(cup_type_row), CODE_SIZE, put_cup_types},
    [REFERENCE_PARTICIPANT] = {ROW(participant_row), CODE_SIZE, put_participants},
    [REFERENCE_SCHEME] = {ROW(scheme_row), CODE_SIZE, put_schemes},
    [REFERENCE_TERMS] = {ROW(terms_row), KEY_SIZE(terms_row, effective_date), put_terms},
    [REFERENCE_REFUND_VALUE] = {ROW(refund_value_row), KEY_SIZE(refund_value_row, effective_date),
                                put_refund_values},
    [REFERENCE_SITE] = {ROW(site_row), CODE_SIZE, put_sites},
    [REFERENCE_OFFICE_ACCOUNTS] = {ROW(office_accounts_row), KEY_SIZE(office_accounts_row, effective_date),
                                   put_office_accounts},
    [REFERENCE_TAX_REGISTRATION] = {ROW(tax_registration_row), KEY_SIZE(tax_registration_row, effective_date),
                                    put_tax_registrations},
    [REFERENCE_SITE_KIND] = {ROW(site_kind_row), KEY_SIZE(site_kind_row, effective_date), put_site_kinds},
    [REFERENCE_AGREEMENT] = {ROW(agreement_row), KEY_SIZE(agreement_row, effective_date), put_agreements},
};

/* ---- lists ---- */

static bool row_is_faulty(enum reference_kind kind, const void *row)
{
    return *(const bool *)((const char *)row + kinds[kind].faulty_offset);
}

static int compare_listed(const void *a, const void *b, void *key_size)
{
    const struct listed *left = *(const struct listed *const *)a, *right = *(const struct listed *const *)b;
    int order = (left->outer > right->outer) - (left->outer < right->outer);
    if (order == 0)
        order = memcmp(left->row, right->row, *(size_t *)key_size);
    /* Equal rows keep the order of the list, so that the first counts as the original. */
    return order != 0 ? order : (left->index > right->index) - (left->index < right->index);
}

/* A name that has a fault is not there: a code that is "", or a date that is zero. */
static bool is_nameless(const struct listed *listed)
{
    static const char nothing[sizeof(struct date)];
    return listed->is_faulty && memcmp(listed->row, nothing, sizeof nothing) == 0;
}

/* Refuses a thing that is in a list twice, because the meaning is unclear. */
static enum store_result check_repeats(struct change *change, const struct listing *listing)
{
    size_t key_size = kinds[listing->kind].key_size;
    struct listed **rows = arena_array(change->scratch, listing->count, sizeof *rows);
    if (rows == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < listing->count; i++)
        rows[i] = &listing->rows[i];
    qsort_r(rows, listing->count, sizeof *rows, compare_listed, &key_size);
    for (size_t i = 1; i < listing->count; i++)
        if (rows[i - 1]->outer == rows[i]->outer && !is_nameless(rows[i]) &&
            memcmp(rows[i - 1]->row, rows[i]->row, key_size) == 0) {
            check_row(change, listing, (size_t)(rows[i] - listing->rows));
            blame(change, REASON_NAME_TAKEN, "", "stands in the list before");
            rows[i]->left_out = true;
        }
    change->place[0] = '\0';
    change->row_is_faulty = false;
    return STORE_OK;
}

/* The same for a list whose things may also stand in a document before. */
static enum store_result check_seen(struct change *change, const struct listing *listing)
{
    bool before = false;
    for (size_t i = 0; i < listing->count; i++) {
        struct listed *listed = &listing->rows[i];
        if (is_nameless(listed))
            continue;
        if (!seen_add(change->before, listing->kind, listed->row, kinds[listing->kind].key_size, &before))
            return STORE_FAILED;
        if (!before)
            continue;
        check_row(change, listing, i);
        blame(change, REASON_NAME_TAKEN, "", "stands in the document before");
        listed->left_out = true;
    }
    change->place[0] = '\0';
    change->row_is_faulty = false;
    return STORE_OK;
}

/* Remembers the codes of rows with a fault, so that nothing in a document that follows is blamed for them. */
static enum store_result note_faulty(struct change *change, const struct listing *listing)
{
    bool before;
    for (size_t i = 0; i < listing->count; i++) {
        const char *code = listing->rows[i].row;
        if (listing->rows[i].left_out &&
            !seen_add(&change->faulty, listing->kind, code, strlen(code), &before))
            return STORE_FAILED;
    }
    return STORE_OK;
}

/* Rows of a scheme stand in one document with it. */
static enum store_result check_names(struct change *change, const struct listing *listing)
{
    if (listing->count == 0)
        return STORE_OK;
    return change->before != NULL && listing->rows[0].scheme == NULL ? check_seen(change, listing)
                                                                     : check_repeats(change, listing);
}

static enum store_result put_rows_of(struct change *change, const struct listing *listing)
{
    enum store_result result = check_names(change, listing);
    for (size_t from = 0; from < listing->count && result == STORE_OK; from += ROWS_AT_ONCE) {
        size_t left = listing->count - from;
        struct listing part = {listing->kind, listing->rows + from,
                               left < ROWS_AT_ONCE ? left : ROWS_AT_ONCE};
        arena_reset(change->scratch);
        result = kinds[listing->kind].put(change, &part);
    }
    if (result == STORE_OK && change->before != NULL && kinds[listing->kind].key_size == CODE_SIZE)
        result = note_faulty(change, listing);
    return result;
}

static void list_rows(struct listing *listing, const struct reference_list *list, const struct listed *alike)
{
    for (size_t i = 0; i < list->count; i++) {
        struct listed *listed = &listing->rows[listing->count++];
        *listed = *alike;
        listed->row = (const char *)list->items + i * kinds[listing->kind].row_size;
        listed->index = i;
        listed->is_faulty = listed->left_out = row_is_faulty(listing->kind, listed->row);
    }
}

/* ---- documents ---- */

/* `scheme`: whose rows they are; NULL: the kind is no scheme's. */
static enum store_result put_list(struct change *change, struct arena *lists, enum reference_kind kind,
                                  const struct reference_list *list, const char *scheme,
                                  struct listing *listing)
{
    *listing = (struct listing){kind, arena_array(lists, list->count, sizeof(struct listed)), 0};
    if (listing->rows == NULL)
        return STORE_FAILED;
    list_rows(listing, list, &(struct listed){.scheme = scheme});
    return put_rows_of(change, listing);
}

static const struct reference_list *list_in(const struct scheme_row *scheme, enum reference_kind kind)
{
    if (kind == REFERENCE_TERMS)
        return &scheme->terms;
    return kind == REFERENCE_REFUND_VALUE ? &scheme->refund_values : &scheme->office_accounts;
}

/* Puts what stands in the schemes of the document. */
static enum store_result put_nested(struct change *change, struct arena *lists, const struct listing *schemes,
                                    enum reference_kind kind)
{
    size_t count = 0;
    for (size_t i = 0; i < schemes->count; i++)
        count += list_in(schemes->rows[i].row, kind)->count;
    struct listing listing = {kind, arena_array(lists, count, sizeof(struct listed)), 0};
    if (listing.rows == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < schemes->count; i++) {
        const struct scheme_row *scheme = schemes->rows[i].row;
        const struct currency *currency = scheme->currency != NULL ? currency_find(scheme->currency) : NULL;
        const struct listed alike = {
            .scheme = scheme->scheme,
            .in_scheme = true,
            .scheme_is_faulty = schemes->rows[i].left_out,
            .decimals = currency != NULL ? currency->decimals : DECIMALS_UNKNOWN,
            .outer = i,
        };
        list_rows(&listing, list_in(scheme, kind), &alike);
    }
    return put_rows_of(change, &listing);
}

static enum store_result put_schemes_of(struct change *change, struct arena *lists,
                                        const struct reference_list *list, struct listing *schemes)
{
    enum store_result result = put_list(change, lists, REFERENCE_SCHEME, list, NULL, schemes);
    if (result == STORE_OK)
        result = put_nested(change, lists, schemes, REFERENCE_TERMS);
    return result == STORE_OK ? put_nested(change, lists, schemes, REFERENCE_REFUND_VALUE) : result;
}

/* Puts the lists in an order in which each refers only to lists before it. The office's codes come last,
 * because they may name the accounts of sites. */
static enum store_result put_lists(struct change *change, struct arena *lists,
                                   const struct reference *document)
{
    struct listing listing, schemes = {.count = 0};
    enum store_result result =
        put_list(change, lists, REFERENCE_CUP_TYPE, &document->cup_types, NULL, &listing);
    if (result == STORE_OK)
        result = put_list(change, lists, REFERENCE_PARTICIPANT, &document->participants, NULL, &listing);
    if (result == STORE_OK)
        result = put_schemes_of(change, lists, &document->schemes, &schemes);
    if (result == STORE_OK && document->scheme != NULL)
        result = put_list(change, lists, REFERENCE_REFUND_VALUE, &document->refund_values, document->scheme,
                          &listing);
    if (result == STORE_OK)
        result = put_list(change, lists, REFERENCE_SITE, &document->sites, NULL, &listing);
    if (result == STORE_OK)
        result =
            put_list(change, lists, REFERENCE_TAX_REGISTRATION, &document->tax_registrations, NULL, &listing);
    if (result == STORE_OK)
        result = put_list(change, lists, REFERENCE_SITE_KIND, &document->site_kinds, NULL, &listing);
    if (result == STORE_OK)
        result = put_list(change, lists, REFERENCE_AGREEMENT, &document->agreements, NULL, &listing);
    return result == STORE_OK && document->part == REFERENCE_WHOLE
               ? put_nested(change, lists, &schemes, REFERENCE_OFFICE_ACCOUNTS)
               : result;
}

/* Puts only the office's codes of schemes that were put before. */
static enum store_result put_office(struct change *change, struct arena *lists,
                                    const struct reference *document)
{
    struct listing schemes = {REFERENCE_SCHEME,
                              arena_array(lists, document->schemes.count, sizeof(struct listed)), 0};
    if (schemes.rows == NULL)
        return STORE_FAILED;
    list_rows(&schemes, &document->schemes, &(struct listed){.scheme = NULL});
    return put_nested(change, lists, &schemes, REFERENCE_OFFICE_ACCOUNTS);
}

static int compare_codes(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

/* Notes what the document has rows for, so that nothing that refers to a row with a fault is blamed. */
static bool note_names(struct change *change, struct arena *lists, enum reference_kind kind,
                       const struct reference_list *list)
{
    const char **codes = arena_array(lists, list->count, sizeof *codes);
    for (size_t i = 0; codes != NULL && i < list->count; i++)
        codes[i] = (const char *)list->items + i * kinds[kind].row_size;
    if (codes != NULL)
        qsort(codes, list->count, sizeof *codes, compare_codes);
    change->named[kind] = (struct sorted_codes){codes, list->count};
    return codes != NULL;
}

static enum store_result put_document(struct change *change, const struct reference *document)
{
    struct arena lists;
    enum store_result result = STORE_FAILED;
    arena_init(&lists, 0);
    change->document = document;
    if (document->part == REFERENCE_OFFICE_ACCOUNTS_ALONE)
        result = put_office(change, &lists, document);
    else if (note_names(change, &lists, REFERENCE_CUP_TYPE, &document->cup_types) &&
             note_names(change, &lists, REFERENCE_PARTICIPANT, &document->participants) &&
             note_names(change, &lists, REFERENCE_SCHEME, &document->schemes) &&
             note_names(change, &lists, REFERENCE_SITE, &document->sites))
        result = put_lists(change, &lists, document);
    arena_dispose(&lists);
    memset(change->named, 0, sizeof change->named);
    return result;
}

/* So many faults are enough to say that the document is another one. */
enum { FAULTS_LOOKED_FOR = 10000 };

static enum store_result put_pieces(struct change *change, struct reference_pieces *pieces)
{
    struct reference piece;
    enum store_result result = STORE_OK;
    while (result == STORE_OK && faults_found(change->faults) <= FAULTS_LOOKED_FOR &&
           pieces->next(pieces, &piece))
        result = put_document(change, &piece);
    change->document = NULL;
    return pieces->failed ? STORE_FAILED : result;
}

/* ---- the transaction ---- */

static enum store_result begin(struct change *change, struct control *control, bool *has_work)
{
    size_t faults_before = faults_found(change->faults);
    enum store_result result = pg_begin(change->pg);
    if (result == STORE_OK)
        result = store_reference_begin(change->pg, &control->author, control->now, &change->version);
    if (result == STORE_OK)
        result = control_begin(change->pg, control, change->faults);
    *has_work = result == STORE_OK && faults_found(change->faults) == faults_before && !control->decided;
    bool is_approval = control->origins != NULL;
    change->proposed_by = is_approval ? control->proposed_by : control->author.key;
    change->approved_by = is_approval ? control->author.key : 0;
    return result;
}

/* A scheme has days from the commit of its first terms on. The days of schemes that trade are made by those
 * who post. */
static enum store_result make_days(struct change *change)
{
    bool extended;
    int32_t *schemes;
    size_t count;
    struct instant until = {clock_now().us + FUTURE_ALLOWED_US};
    enum store_result result = store_reference_unused(change->pg, change->scratch, &schemes, &count);
    if (result != STORE_OK || count == 0)
        return result;
    return store_calendars_extend(change->pg, schemes, count, until, &extended);
}

/* The heads of the schemes that trade are taken last, for the commit alone. All that takes long comes before,
 * also the next snapshot, so that the writers find it ready. */
static enum store_result commit(struct change *change, struct snapshot_cache *snapshots)
{
    struct held_snapshot *next = NULL;
    enum store_result result = make_days(change);
    if (result == STORE_OK)
        result = store_reference_check_dates(change->pg);
    if (result == STORE_OK)
        result = snapshot_prepare(change->pg, &next);
    if (result == STORE_OK)
        result = hold_heads(change);
    if (result == STORE_OK)
        result = pg_commit(change->pg);
    if (result == STORE_OK)
        snapshot_install(snapshots, next);
    else if (next != NULL)
        snapshot_drop(next);
    return result;
}

/* Lists what the change would do, as it would be kept. */
static enum store_result list_changes(struct change *change, struct control *control)
{
    if (!control->dry_run || control->changes == NULL || control->origins != NULL ||
        faults_found(change->faults) > 0)
        return STORE_OK;
    return read_changes_made(change->pg, control->since, CHANGES_SHOWN, control->changes,
                             &control->more_changes);
}

/* An approved proposal is decided even if it makes no difference any more. */
static enum store_result finish(struct change *change, enum store_result result, struct control *control,
                                struct snapshot_cache *snapshots)
{
    bool done = faults_found(change->faults) == 0 && !control->decided &&
                (change->made_difference || control->origins != NULL);
    arena_reset(change->scratch);
    if (result == STORE_OK)
        result = list_changes(change, control);
    if (result == STORE_OK && done)
        result = control_end(change->pg, change->scratch, control);
    if (control->refused) {
        faults_refuse(change->faults, REASON_TWO_PEOPLE_NEEDED);
        done = false;
    }
    if (result == STORE_OK && done && !control->dry_run && !control->proposed)
        result = commit(change, snapshots);
    result =
        transaction_end(change->pg, result, change->faults, done && !control->dry_run && control->proposed);
    arena_dispose(change->scratch);
    return result;
}

enum store_result reference_apply(struct pg *pg, struct snapshot_cache *snapshots,
                                  const struct reference *document, struct control *control,
                                  struct faults *faults)
{
    bool has_work;
    struct arena scratch;
    struct change change = {.pg = pg, .scratch = &scratch, .faults = faults};
    arena_init(&scratch, 0);
    enum store_result result = begin(&change, control, &has_work);
    if (has_work)
        result = put_document(&change, document);
    return finish(&change, result, control, snapshots);
}

enum store_result reference_apply_pieces(struct pg *pg, struct snapshot_cache *snapshots,
                                         struct reference_pieces *pieces, struct control *control,
                                         struct faults *faults)
{
    bool has_work;
    struct arena scratch;
    struct seen before = {0};
    struct change change = {.pg = pg, .scratch = &scratch, .faults = faults, .before = &before};
    arena_init(&scratch, 0);
    enum store_result result = begin(&change, control, &has_work);
    if (has_work)
        result = put_pieces(&change, pieces);
    result = finish(&change, result, control, snapshots);
    seen_dispose(&before);
    seen_dispose(&change.faulty);
    return result;
}

void reference_tag(const struct buffer *json, char tag[static REFERENCE_TAG_SIZE])
{
    struct sha256 hash;
    sha256_of(json->data != NULL ? json->data : "", json->length, &hash);
    tag[0] = '"';
    sha256_hex(&hash, tag + 1);
    memcpy(tag + SHA256_HEX_MAX, "\"", 2);
}

/* RFC 9110 section 13.1.1: a listed tag by strong comparison, or * for anything that exists. */
bool reference_tag_matches(const char *if_match, const char *tag)
{
    while (*if_match != '\0') {
        if_match += strspn(if_match, ", \t");
        size_t length = strcspn(if_match, ", \t");
        if (length == 1 && *if_match == '*')
            return true;
        if (length == strlen(tag) && memcmp(if_match, tag, length) == 0)
            return true;
        if_match += length;
    }
    return false;
}

/* Reads the thing as it is; `there`: whether it exists. */
static enum store_result show(struct change *change, const struct reference_put *put,
                              struct reference_shown *shown, bool *there)
{
    struct reference_query query = {.kind = put->kind, .reader = put->reader};
    struct json_slice slice;
    memcpy(query.names, put->names, sizeof query.names);
    buffer_reset(shown->json);
    enum store_result result = store_reference_read(change->pg, &query, shown->json, &slice);
    if (result != STORE_OK)
        return result;
    *there = slice.count > 0;
    reference_tag(shown->json, shown->tag);
    return STORE_OK;
}

static enum store_result put_row(struct change *change, const struct reference_put *put)
{
    struct listed listed = {.row = put->row, .scheme = put->names[0]}; /* of what is a scheme's */
    listed.is_faulty = listed.left_out = put->is_faulty;
    return kinds[put->kind].put(change, &(struct listing){put->kind, &listed, 1});
}

static enum store_result put_one(struct change *change, const struct reference_put *put,
                                 struct reference_shown *shown)
{
    bool there;
    enum store_result result = show(change, put, shown, &there);
    if (result != STORE_OK)
        return result;
    shown->created = !there;
    if (put->if_match != NULL && !(there && reference_tag_matches(put->if_match, shown->tag))) {
        faults_add(change->faults, REASON_PRECONDITION_FAILED, NULL, "it is not as If-Match says");
        return STORE_OK;
    }
    result = put_row(change, put);
    if (result != STORE_OK || change->faults->count > 0)
        return result;
    return show(change, put, shown, &there);
}

enum store_result reference_put(struct pg *pg, struct snapshot_cache *snapshots,
                                const struct reference_put *put, struct reference_shown *shown,
                                struct faults *faults)
{
    bool has_work;
    struct arena scratch;
    struct change change = {.pg = pg, .scratch = &scratch, .faults = faults};
    arena_init(&scratch, 0);
    enum store_result result = begin(&change, put->control, &has_work);
    if (has_work)
        result = put_one(&change, put, shown);
    return finish(&change, result, put->control, snapshots);
}
