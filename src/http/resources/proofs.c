/* SPDX-License-Identifier: ISC */
/* Proofs that an entry is under its day's seal, and the chain of the seals. The document lists all
 * participants' positions and payments, so a key that is bound to sites does not get it. Such a key compares
 * root and seal with the chain, which an auditor vouches for. */
#include "http/resources/handlers.h"

#include "app/proof/proof.h"
#include "http/request/json_text.h"
#include "http/request/slice.h"
#include "http/request/visible.h"

#include <stdlib.h>
#include <string.h>

enum { ENTRY_DIGITS_MAX = 18 };

static void member_hash(struct buffer *body, const char *name, const struct sha256 *hash)
{
    char hex[SHA256_HEX_MAX];
    sha256_hex(hash, hex);
    member_string(body, name, hex);
}

static void write_proof(const struct proof_order *order, const struct proof *proof, struct buffer *body)
{
    char date[DATE_TEXT_MAX], hex[SHA256_HEX_MAX];
    date_format(proof->date, date);
    buffer_add_char(body, '{');
    member_string(body, "scheme", order->scheme->code);
    member_string(body, "business_date", date);
    member_integer(body, "entry", proof->entry);
    member_string(body, "leaf", proof->leaf);
    member_hash(body, "leaf_hash", &proof->hash);
    member_integer(body, "index", (int64_t)proof->inclusion.index);
    member_integer(body, "entries", (int64_t)proof->leaves);
    member_begin(body, "path");
    buffer_add_char(body, '[');
    for (size_t i = 0; i < proof->inclusion.length; i++) {
        element_begin(body);
        sha256_hex(&proof->inclusion.path[i], hex);
        string_add(body, hex);
    }
    buffer_add_char(body, ']');
    member_hash(body, "root", &proof->root);
    member_hash(body, "previous", &proof->previous);
    if (proof->document != NULL)
        member_string(body, "document", proof->document);
    member_hash(body, "seal", &proof->seal);
    buffer_add_char(body, '}');
}

static void answer_proof(const struct request *request, struct answer *answer, struct proof_order *order)
{
    struct proof proof;
    enum reason refusal;
    order->network = &request->snapshot->network;
    order->with_document = order->visible.all;
    enum store_result result = proof_make(request->pg, request->arena, order, &proof, &refusal);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (refusal != REASON_NONE)
        faults_refuse(&answer->faults, refusal);
    else
        write_proof(order, &proof, &answer->body);
}

void handle_event_proof(const struct request *request, struct answer *answer)
{
    struct uuid id;
    struct proof_order order = {0};
    const char *code = request_query(request, "scheme"), *text = request->parts[0];
    struct entry_place place = {0};
    size_t count = 0;
    if (!request_visible(request, answer, &order.visible))
        return;
    if (code != NULL && (order.scheme = request_scheme(request, answer, code)) == NULL)
        return;
    if (!uuid_parse(text, strlen(text), &id)) {
        answer_not_found(answer);
        return;
    }
    enum store_result result = read_proof_event(request->pg, &id, order.scheme != NULL ? order.scheme->id : 0,
                                                &order.visible, &place, &count);
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
    } else if (count == 0) {
        answer_not_found(answer);
    } else if (count > 1) {
        faults_add_parameter(&answer->faults, REASON_PARAMETER_MISSING, "scheme",
                             "several schemes have an event with this id");
    } else {
        order.scheme = request->snapshot->network.scheme_by_id[place.scheme];
        order.entry = place.entry;
        answer_proof(request, answer, &order);
    }
}

/* This also proves the entries that a close posted, which have no event. */
void handle_entry_proof(const struct request *request, struct answer *answer)
{
    struct proof_order order = {.scheme = request_scheme(request, answer, request_query(request, "scheme"))};
    size_t digits = strspn(request->parts[0], "0123456789");
    if (order.scheme == NULL || !request_visible(request, answer, &order.visible))
        return;
    if (digits == 0 || digits > ENTRY_DIGITS_MAX || request->parts[0][digits] != '\0') {
        answer_not_found(answer);
        return;
    }
    order.entry = strtoll(request->parts[0], NULL, 10);
    answer_proof(request, answer, &order);
}

void handle_seals_list(const struct request *request, struct answer *answer)
{
    struct list_slice slice;
    const struct scheme *scheme = request_scheme(request, answer, request_query(request, "scheme"));
    if (scheme == NULL || !slice_begin(request, answer, &slice))
        return;
    enum store_result result = read_seals(request->pg, scheme->id, &slice);
    slice_end(request, answer, result, &slice);
}
