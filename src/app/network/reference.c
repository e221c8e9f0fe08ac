/* SPDX-License-Identifier: ISC */
/* The rules for reference data: a ladder for each kind. Most rules look only at the input, and some at facts
 * that are read under the lock. A row is checked, then put. A row with a fault is also put, if the database
 * allows it, so that rows later in the document that refer to it are not blamed as well. The whole change is
 * rolled back in the end. */
#include "app/network/reference.h"

#include "app/network/agreements.h"
#include "app/network/office_accounts.h"
#include "app/network/reference_fees.h"
#include "app/transaction/transaction.h"
#include "base/clock.h"
#include "depositd/identifier.h"
#include "payment/iban.h"
#include "payment/latin.h"
#include "store/agreement_store.h"
#include "store/ledger_store.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- rules over the input alone ---- */

/* A payment message contains this text unchanged. To convert it to the bank's characters would make it name
 * something else. */
static void check_reference(struct change *change, const char *member, const char *text)
{
    if (text != NULL && !latin_reference_valid(text, strlen(text)))
        blame(
            change, REASON_BAD_FORMAT, member,
            "has characters that no payment message may carry, a space or a slash at an end, or two slashes");
}

static void blame_account(struct change *change, const char *place, enum reason reason, const char *name,
                          const char *detail)
{
    char member[PLACE_MAX];
    snprintf(member, sizeof member, "%s/bank_account/%s", place, name);
    blame(change, reason, member, detail);
}

static void check_account_reference(struct change *change, const char *place, const char *name,
                                    const char *text)
{
    char member[PLACE_MAX];
    snprintf(member, sizeof member, "%s/bank_account/%s", place, name);
    check_reference(change, member, text);
}

/* An account has an IBAN, or else a number and the code of its bank. `place` is the position in the row of
 * the object that has the bank_account: "" for the row itself. */
static void check_bank_account(struct change *change, const char *place, const struct bank_account *given)
{
    bool has_number = given->account != NULL, has_code = given->bank_code != NULL;
    enum iban_result checked = given->iban != NULL ? iban_check(given->iban) : IBAN_OK;
    if (checked != IBAN_OK)
        blame_account(change, place, REASON_BAD_FORMAT, "iban", iban_detail(checked));
    if (given->iban != NULL && (has_number || has_code))
        blame_account(change, place, REASON_MEMBER_UNKNOWN, has_number ? "account" : "bank_code",
                      "is not known beside an iban");
    if (given->iban == NULL && !has_number && !has_code)
        blame_account(change, place, REASON_MEMBER_MISSING, "iban", "give an iban, or account and bank_code");
    if (given->iban == NULL && has_number != has_code)
        blame_account(change, place, REASON_MEMBER_MISSING, has_number ? "bank_code" : "account",
                      "account and bank_code go together");
    check_account_reference(change, place, "account", given->account);
    check_account_reference(change, place, "bank_code", given->bank_code);
}

static void check_bic(struct change *change, const char *member, const char *bic)
{
    if (bic != NULL && !bic_valid(bic))
        blame(change, REASON_BAD_FORMAT, member, "is no BIC: 8 or 11 capitals and digits");
}

static void check_par_stock(struct change *change, const struct reference_list *list)
{
    const struct par_stock_row *rows = list->items;
    for (size_t i = 0; i < list->count; i++)
        for (size_t before = 0; before < i; before++)
            if (strcmp(rows[i].cup_type, rows[before].cup_type) == 0) {
                blame_element(change, REASON_CUP_TYPE_REPEATED, "par_stock", i, "/cup_type",
                              "stands in the list before");
                break;
            }
}

/* ---- each kind: its rules, then the row ---- */

static enum store_result put_cup_type(struct change *change, const void *given)
{
    const struct cup_type_row *row = given;
    if (row->grai != NULL && !grai_valid(row->grai))
        blame(change, REASON_BAD_FORMAT, "/grai",
              "is no GRAI: 14 digits that begin with 0, and a serial or none");
    return store_put_cup_type(change->pg, row, &change->made_difference);
}

static enum store_result put_participant(struct change *change, const void *given)
{
    const struct participant_row *row = given;
    if (row->has_bank_account)
        check_bank_account(change, "", &row->bank_account);
    check_bic(change, "/bic", row->bic);
    if (row->has_mandate)
        check_reference(change, "/mandate/id", row->mandate.id);
    if (strcmp(row->participant, "pool") == 0) {
        blame_name(change, REASON_VALUE_UNKNOWN, "/participant",
                   "is the operator's name as a party to payments");
        return STORE_OK;
    }
    bool fixed;
    enum store_result result = store_registration_fixed(change->pg, row, &fixed);
    if (result != STORE_OK)
        return result;
    if (fixed) {
        blame(change, REASON_FIXED_ONCE_POSTED, "/tax_registered",
              "is the first value, and fees depend on it: PUT "
              "/v1/participants/{participant}/tax-registration/{effective_date} gives a later one");
        return STORE_OK;
    }
    return store_put_participant(change->pg, row, &change->made_difference);
}

static void check_scheme(struct change *change, const struct scheme_row *row, const struct currency *currency,
                         const struct scheme_facts *facts)
{
    static const char fixed[] = "can't change any more";
    if (currency == NULL)
        blame(change, REASON_CURRENCY_UNKNOWN, "/currency", "is no currency of ISO 4217");
    if (!facts->time_zone_known)
        blame(change, REASON_TIME_ZONE_UNKNOWN, "/time_zone", "is no IANA time zone that the database knows");
    if (row->has_variance_limit)
        check_amount(change, "/variance_limit", row->variance_limit, change->decimals);
    if (row->has_operator) {
        check_bank_account(change, "/operator", &row->operator.bank_account);
        check_bic(change, "/operator/bic", row->operator.bic);
        check_reference(change, "/operator/creditor_id", row->operator.creditor_id);
    }
    if (facts->shares_bank_account)
        blame(change, REASON_BANK_ACCOUNT_SHARED, "/operator/bank_account",
              "is another scheme's: a bank account serves one scheme");
    if (currency != NULL && facts->decimals_in_use >= 0 && currency->decimals != facts->decimals_in_use)
        blame(change, REASON_AMOUNT_DECIMALS, "/currency",
              "has other decimals than the scheme's terms and refund values");
    if (facts->ends_too_soon)
        blame(change, REASON_STARTS_TOO_SOON, "/closed_on", "must end more than 5 minutes from now");
    if (!facts->posted_or_closed)
        return;
    if (facts->currency_changes)
        blame(change, REASON_FIXED_ONCE_POSTED, "/currency", fixed);
    if (facts->time_zone_changes)
        blame(change, REASON_FIXED_ONCE_POSTED, "/time_zone", fixed);
    if (facts->cut_off_changes)
        blame(change, REASON_FIXED_ONCE_POSTED, "/cut_off", fixed);
    if (facts->stock_terms_changes)
        blame(change, REASON_FIXED_ONCE_POSTED, "/stock_terms", fixed);
}

static enum store_result put_list(struct change *change, enum reference_kind kind,
                                  const struct reference_list *list);

/* Puts the terms and refund values of a scheme in the document. */
static enum store_result put_nested(struct change *change, const struct scheme_row *row)
{
    change->in_scheme = true;
    change->scheme = row->scheme;
    enum store_result result = put_list(change, REFERENCE_TERMS, &row->terms);
    if (result == STORE_OK)
        result = put_list(change, REFERENCE_REFUND_VALUE, &row->refund_values);
    change->in_scheme = false;
    return result;
}

static enum store_result put_scheme(struct change *change, const void *given)
{
    const struct scheme_row *row = given;
    const struct currency *currency = currency_find(row->currency);
    size_t faults_before = change->faults->count;
    struct scheme_facts facts;
    enum store_result result = store_scheme_facts(change->pg, row, &facts);
    if (result != STORE_OK)
        return result;
    change->decimals = currency != NULL ? currency->decimals : DECIMALS_UNKNOWN;
    check_scheme(change, row, currency, &facts);
    change->scheme_faulty = change->faults->count > faults_before;
    if (!change->scheme_faulty && currency != NULL) {
        result =
            store_put_scheme(change->pg, row, currency->decimals, change->version, &change->made_difference);
        if (result == STORE_OK && (facts.time_zone_changes || facts.cut_off_changes))
            result = store_forget_days(change->pg, row->scheme);
    }
    return result == STORE_OK ? put_nested(change, row) : result;
}

/* Reads the facts that a dated value depends on, and checks that the things it names are known. */
static enum store_result begin_dated(struct change *change, const char *cup_type, struct date from,
                                     struct dating_facts *facts)
{
    enum store_result result = store_dating_facts(change->pg, change->scheme, cup_type, from, facts);
    if (result != STORE_OK)
        return result;
    if (change->in_scheme)
        facts->decimals = change->decimals;
    else if (!facts->scheme_known)
        faults_add(change->faults, REASON_NOT_FOUND, NULL, "there is no such scheme");
    if (cup_type != NULL && !facts->cup_type_known)
        blame_name(change, REASON_CUP_TYPE_UNKNOWN, "/cup_type", "is not known");
    return STORE_OK;
}

/* Whether there is a row to put the value under. */
static bool can_put_dated(const struct change *change, const char *cup_type, const struct dating_facts *facts)
{
    bool scheme_there = facts->scheme_known && !(change->in_scheme && change->scheme_faulty);
    return scheme_there && (cup_type == NULL || facts->cup_type_known);
}

static enum store_result put_terms(struct change *change, const void *given)
{
    const struct terms_row *row = given;
    struct dating_facts facts;
    bool differs = false;
    enum store_result result = begin_dated(change, NULL, row->effective_date, &facts);
    if (result != STORE_OK)
        return result;
    if (facts.scheme_known || change->in_scheme) {
        check_amount(change, "/minimum_payment", row->minimum_payment, facts.decimals);
        check_amount(change, "/service_fee", row->service_fee, facts.decimals);
        check_amount(change, "/handling_fee", row->handling_fee, facts.decimals);
        if (row->has_monthly_fee)
            check_amount(change, "/monthly_fee", row->monthly_fee, facts.decimals);
        result = check_fee_rows(change, &row->fees, facts.decimals);
    }
    if (result != STORE_OK || !can_put_dated(change, NULL, &facts))
        return result;
    result = store_put_terms(change->pg, change->scheme, row, &differs);
    if (result != STORE_OK || !differs)
        return result;
    change->made_difference = true;
    if (facts.too_long_ago)
        blame_name(change, REASON_OUT_OF_RANGE, "/effective_date", "lies more than 10000 days back");
    else if ((facts.posted && !facts.starts_in_time) ||
             (facts.before_the_days_made && facts.posted_or_closed))
        blame_too_soon(change);
    else if (facts.before_the_days_made)
        result = store_forget_days(change->pg, change->scheme);
    return result;
}

static enum store_result put_refund_value(struct change *change, const void *given)
{
    const struct refund_value_row *row = given;
    struct dating_facts facts;
    bool differs = false;
    enum store_result result = begin_dated(change, row->cup_type, row->effective_date, &facts);
    if (result != STORE_OK)
        return result;
    if (facts.scheme_known || change->in_scheme)
        check_amount(change, "/amount", row->amount, facts.decimals);
    if (!can_put_dated(change, row->cup_type, &facts))
        return STORE_OK;
    result = store_put_refund_value(change->pg, change->scheme, row, &differs);
    if (result != STORE_OK || !differs)
        return result;
    change->made_difference = true;
    if (facts.posted && !facts.starts_in_time && !facts.first_of_open_day)
        blame_too_soon(change);
    return STORE_OK;
}

static bool scheme_in_document(const struct change *change, const char *code)
{
    if (change->document == NULL)
        return false;
    const struct scheme_row *schemes = change->document->schemes.items;
    for (size_t i = 0; i < change->document->schemes.count; i++)
        if (strcmp(schemes[i].scheme, code) == 0)
            return true;
    return false;
}

static void check_site(struct change *change, const struct site_row *row, const struct site_facts *facts)
{
    static const char fixed[] = "can't change any more: a site that is sold gets a new code";
    if (!facts->scheme_known && !scheme_in_document(change, row->scheme))
        blame(change, REASON_SCHEME_UNKNOWN, "/scheme", "is not known");
    if (!facts->participant_known)
        blame(change, REASON_PARTICIPANT_UNKNOWN, "/participant", "is not known");
    if (facts->posted && facts->scheme_changes)
        blame(change, REASON_FIXED_ONCE_POSTED, "/scheme", fixed);
    if (facts->posted && facts->participant_changes)
        blame(change, REASON_FIXED_ONCE_POSTED, "/participant", fixed);
    if (facts->kind_fixed)
        blame(change, REASON_FIXED_ONCE_POSTED, "/kind",
              "is the first value, and fees may depend on it: PUT /v1/sites/{site}/kind/{effective_date} "
              "gives a "
              "later one");
    if (row->has_closed_on && row->closed_on.days < row->opened_on.days)
        blame(change, REASON_OUT_OF_RANGE, "/closed_on", "lies before opened_on");
    if (row->gln != NULL && !gln_valid(row->gln))
        blame(change, REASON_BAD_FORMAT, "/gln", "is no GLN: 13 digits, of which the last checks the others");
    check_par_stock(change, &row->par_stock);
    for (size_t i = 0; i < facts->unknown_cup_type_count; i++)
        blame_element(change, REASON_CUP_TYPE_UNKNOWN, "par_stock", (size_t)facts->unknown_cup_types[i],
                      "/cup_type", "is not known");
}

static enum store_result put_site(struct change *change, const void *given)
{
    const struct site_row *row = given;
    size_t faults_before = change->faults->count;
    struct site_facts facts;
    enum store_result result = store_site_facts(change->pg, change->arena, row, &facts);
    if (result != STORE_OK)
        return result;
    check_site(change, row, &facts);
    /* Nothing in a document refers to a site, so a site with a fault need not be put. */
    if (change->faults->count > faults_before)
        return STORE_OK;
    return store_put_site(change->pg, row, &change->made_difference);
}

/* A list may also be set for days that are closed: it gives accounts other names, and changes no figure. */
static enum store_result put_office_accounts(struct change *change, const void *given)
{
    const struct office_accounts_row *row = given;
    size_t faults_before = change->faults->count;
    struct office_accounts_facts facts;
    enum store_result result =
        store_office_accounts_facts(change->pg, change->arena, change->scheme, row, &facts);
    if (result != STORE_OK)
        return result;
    if (!facts.scheme_known) {
        if (change->document == NULL)
            faults_add(change->faults, REASON_NOT_FOUND, NULL, "there is no such scheme");
        return STORE_OK; /* in a document, the scheme itself has a fault */
    }
    if (!office_accounts_check(row, facts.numbers, change->place, change->faults))
        return STORE_FAILED;
    if (change->faults->count > faults_before)
        return STORE_OK;
    return store_put_office_accounts(change->pg, change->scheme, row, facts.numbers,
                                     &change->made_difference);
}

/* ---- lists and documents ---- */

#define KEY_SIZE(type, last_member)                                                                          \
    (offsetof(struct type, last_member) + sizeof((struct type *)0)->last_member)

static const struct {
    const char *list; /* the name of the list in the document */
    size_t row_size;
    size_t key_size; /* bytes at the row's beginning that name it; unused bytes are zero */
    enum store_result (*put)(struct change *change, const void *row);
} kinds[] = {
    [REFERENCE_CUP_TYPE] = {"cup_types", sizeof(struct cup_type_row), CODE_SIZE, put_cup_type},
    [REFERENCE_PARTICIPANT] = {"participants", sizeof(struct participant_row), CODE_SIZE, put_participant},
    [REFERENCE_SCHEME] = {"schemes", sizeof(struct scheme_row), CODE_SIZE, put_scheme},
    [REFERENCE_TERMS] = {"terms", sizeof(struct terms_row), KEY_SIZE(terms_row, effective_date), put_terms},
    [REFERENCE_REFUND_VALUE] = {"refund_values", sizeof(struct refund_value_row),
                                KEY_SIZE(refund_value_row, effective_date), put_refund_value},
    [REFERENCE_SITE] = {"sites", sizeof(struct site_row), CODE_SIZE, put_site},
    [REFERENCE_OFFICE_ACCOUNTS] = {"office_accounts", sizeof(struct office_accounts_row),
                                   KEY_SIZE(office_accounts_row, effective_date), put_office_accounts},
    [REFERENCE_TAX_REGISTRATION] = {"tax_registrations", sizeof(struct tax_registration_row),
                                    KEY_SIZE(tax_registration_row, effective_date), put_tax_registration},
    [REFERENCE_SITE_KIND] = {"site_kinds", sizeof(struct site_kind_row),
                             KEY_SIZE(site_kind_row, effective_date), put_site_kind},
    [REFERENCE_AGREEMENT] = {"agreements", sizeof(struct agreement_row),
                             KEY_SIZE(agreement_row, effective_date), put_agreement},
};

static int compare_rows(const void *a, const void *b, void *key_size)
{
    const char *const *left = a, *const *right = b;
    int order = memcmp(*left, *right, *(size_t *)key_size);
    /* Equal rows keep the order of the list, so that the first counts as the original. */
    return order != 0 ? order : (*left > *right) - (*left < *right);
}

/* Refuses a thing that is in a list twice, because the meaning is unclear. */
static enum store_result check_repeats(struct change *change, enum reference_kind kind,
                                       const struct reference_list *list)
{
    const char *first = list->items;
    size_t key_size = kinds[kind].key_size;
    const char **rows = arena_array(change->arena, list->count + 1, sizeof *rows);
    if (rows == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < list->count; i++)
        rows[i] = first + i * kinds[kind].row_size;
    qsort_r(rows, list->count, sizeof *rows, compare_rows, &key_size);
    for (size_t i = 1; i < list->count; i++)
        if (memcmp(rows[i - 1], rows[i], key_size) == 0)
            blame_element(change, REASON_NAME_TAKEN, kinds[kind].list,
                          (size_t)(rows[i] - first) / kinds[kind].row_size, "", "stands in the list before");
    return STORE_OK;
}

static enum store_result put_list(struct change *change, enum reference_kind kind,
                                  const struct reference_list *list)
{
    char around[PLACE_MAX];
    snprintf(around, sizeof around, "%s", change->place);
    enum store_result result = check_repeats(change, kind, list);
    for (size_t i = 0; i < list->count && result == STORE_OK; i++) {
        snprintf(change->place, sizeof change->place, "%.32s/%s/%zu", around, kinds[kind].list, i);
        result = kinds[kind].put(change, (const char *)list->items + i * kinds[kind].row_size);
    }
    snprintf(change->place, sizeof change->place, "%s", around);
    return result;
}

/* Puts the office's codes of each scheme in the document: after the sites, whose accounts they may name. */
static enum store_result put_all_office_accounts(struct change *change, const struct reference *document)
{
    const struct scheme_row *schemes = document->schemes.items;
    enum store_result result = STORE_OK;
    for (size_t i = 0; i < document->schemes.count && result == STORE_OK; i++) {
        change->scheme = schemes[i].scheme;
        snprintf(change->place, sizeof change->place, "/%s/%zu", kinds[REFERENCE_SCHEME].list, i);
        result = put_list(change, REFERENCE_OFFICE_ACCOUNTS, &schemes[i].office_accounts);
    }
    change->place[0] = '\0';
    return result;
}

/* Puts the lists in an order in which each refers only to lists before it. */
static enum store_result put_document(struct change *change, const struct reference *document)
{
    enum store_result result = put_list(change, REFERENCE_CUP_TYPE, &document->cup_types);
    if (result == STORE_OK)
        result = put_list(change, REFERENCE_PARTICIPANT, &document->participants);
    if (result == STORE_OK)
        result = put_list(change, REFERENCE_SCHEME, &document->schemes);
    change->scheme = document->scheme;
    if (result == STORE_OK && document->scheme != NULL)
        result = put_list(change, REFERENCE_REFUND_VALUE, &document->refund_values);
    if (result == STORE_OK)
        result = put_list(change, REFERENCE_SITE, &document->sites);
    if (result == STORE_OK)
        result = put_list(change, REFERENCE_TAX_REGISTRATION, &document->tax_registrations);
    if (result == STORE_OK)
        result = put_list(change, REFERENCE_SITE_KIND, &document->site_kinds);
    if (result == STORE_OK)
        result = put_list(change, REFERENCE_AGREEMENT, &document->agreements);
    return result == STORE_OK ? put_all_office_accounts(change, document) : result;
}

/* ---- the transaction ---- */

static enum store_result begin(struct change *change, struct control *control)
{
    enum store_result result = pg_begin(change->pg);
    if (result == STORE_OK)
        result = store_reference_lock(change->pg, &control->author, control->now, &change->version);
    if (result == STORE_OK)
        result = control_begin(change->pg, control, change->faults);
    bool is_approval = control->origins != NULL;
    change->proposed_by = is_approval ? control->proposed_by : control->author.key;
    change->approved_by = is_approval ? control->author.key : 0;
    return result;
}

static bool has_work(const struct change *change, const struct control *control)
{
    return change->faults->count == 0 && !control->decided;
}

/* A scheme has days from the commit of its first terms on. */
static enum store_result make_days(struct change *change)
{
    bool extended;
    struct instant until = {clock_now().us + FUTURE_ALLOWED_US};
    return store_calendars_extend(change->pg, NULL, 0, until, &extended);
}

/* An approved proposal is decided even if it makes no difference any more. */
static enum store_result finish(struct change *change, enum store_result result, struct control *control)
{
    bool done = has_work(change, control) && (change->made_difference || control->origins != NULL);
    if (result == STORE_OK && done)
        result = control_end(change->pg, change->arena, control);
    if (result == STORE_OK && done && !control->dry_run)
        result = make_days(change);
    return transaction_end(change->pg, result, change->faults, done && !control->dry_run);
}

enum store_result reference_apply(struct pg *pg, const struct reference *document, struct control *control,
                                  struct faults *faults)
{
    struct change change = {.pg = pg, .arena = faults->arena, .faults = faults, .document = document};
    enum store_result result = begin(&change, control);
    if (result == STORE_OK && has_work(&change, control))
        result = put_document(&change, document);
    return finish(&change, result, control);
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
    change->scheme = put->names[0]; /* of what is a scheme's */
    result = kinds[put->kind].put(change, put->row);
    if (result != STORE_OK || change->faults->count > 0)
        return result;
    return show(change, put, shown, &there);
}

enum store_result reference_put(struct pg *pg, const struct reference_put *put, struct reference_shown *shown,
                                struct faults *faults)
{
    struct change change = {.pg = pg, .arena = faults->arena, .faults = faults};
    enum store_result result = begin(&change, put->control);
    if (result == STORE_OK && has_work(&change, put->control))
        result = put_one(&change, put, shown);
    return finish(&change, result, put->control);
}
