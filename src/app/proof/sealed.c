/* SPDX-License-Identifier: ISC */
/* Recreates the hashed data from rows. A superuser may have written anything into a row. */
#include "app/proof/sealed.h"

#include "app/closing/close_document.h"
#include "app/posting/canonical.h"

#include <stdlib.h>

static bool scheme_is_known(const struct network *network, int32_t scheme)
{
    return scheme < network->scheme_ids && network->scheme_by_id[scheme] != NULL;
}

/* Whether the network has the things that the account's number refers to, and the number has no parts that
 * the account's name lacks. Otherwise two numbers would have the same leaf. */
static bool account_is_known(const struct network *network, struct account account)
{
    enum account_kind kind = account_kind_of(account);
    int32_t owner = account_owner(account), cup_type = account_cup_type(account);
    if (account_kind_word(kind) == NULL || owner < 0 ||
        account_of(kind, owner, cup_type).code != account.code)
        return false;
    enum account_scope scope = account_kind_scope(kind);
    if (scope == SCOPE_CUP_TYPE || scope == SCOPE_SITE_CUP_TYPE || scope == SCOPE_OTHER_CUP_TYPE)
        if (cup_type >= network->cup_type_ids || network->cup_type_by_id[cup_type] == NULL)
            return false;
    switch (scope) {
    case SCOPE_SITE:
    case SCOPE_SITE_CUP_TYPE:
        return owner < network->site_ids && network->site_by_id[owner] != NULL;
    case SCOPE_PARTICIPANT:
        return owner < network->participant_ids && network->participant_by_id[owner] != NULL;
    case SCOPE_PAIR:
        return scheme_is_known(network, account_home(account)) &&
               scheme_is_known(network, account_host(account));
    case SCOPE_OTHER:
    case SCOPE_OTHER_CUP_TYPE:
        return scheme_is_known(network, owner);
    case SCOPE_SCHEME:
    case SCOPE_CUP_TYPE:
        return true;
    }
    abort();
}

bool sealed_leaf(const struct network *network, const struct scheme *scheme, const struct leaf_row *row,
                 struct buffer *text)
{
    if (!row->sound || row->kind <= KIND_NONE || row->kind >= KIND_LIMIT ||
        entry_kind_word(row->kind) == NULL)
        return false;
    for (size_t i = 0; i < row->leg_count; i++)
        if (!account_is_known(network, row->legs[i].account))
            return false;
    buffer_reset(text);
    canonical_leaf(
        &(struct canonical_entry){
            .network = network,
            .scheme = scheme,
            .entry = row->entry,
            .business_date = row->business_date,
            .kind = row->kind,
            .event = row->event,
            .agreed = row->agreed,
            .followed = row->followed,
            .legs = row->legs,
            .leg_count = row->leg_count,
        },
        text);
    return !text->failed;
}

enum store_result sealed_document(struct pg *pg, struct arena *arena, const struct network *network,
                                  const struct scheme *scheme, const struct sealed_day *day,
                                  struct buffer *text)
{
    struct position_row *positions;
    struct payment_row *payments;
    struct close_document document = {
        .network = network, .scheme = scheme, .date = day->date, .entries = (uint64_t)day->entries};
    enum store_result result =
        read_positions(pg, arena, scheme->id, day->date, &positions, &document.position_count);
    if (result == STORE_OK)
        result = read_payments(pg, arena, scheme->id, day->date, &payments, &document.payment_count);
    if (result != STORE_OK)
        return result;
    document.positions = positions;
    document.payments = payments;
    close_document_write(&document, text);
    return text->failed ? STORE_FAILED : STORE_OK;
}
