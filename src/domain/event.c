/* SPDX-License-Identifier: ISC */
/* The words for the kinds of entry, tenders and bearers. */
#include "depositd/event.h"

static const char *const kind_words[KIND_LIMIT] = {
#define X(name, word, number) [number] = #word,
    EVENT_KIND_TABLE(X) CLOSE_KIND_TABLE(X) PAYMENT_KIND_TABLE(X)
#undef X
};

static const char *const tender_words[] = {NULL, "cash", "card", "voucher", "app", "other"};
static const char *const bearer_words[] = {NULL, "sender", "receiver", "operator"};

const char *entry_kind_word(enum entry_kind kind)
{
    return (unsigned)kind < KIND_LIMIT ? kind_words[kind] : NULL;
}

bool entry_kind_is_event(enum entry_kind kind)
{
    return kind > KIND_NONE && kind < KIND_FEES;
}

bool entry_kind_refers(enum entry_kind kind)
{
    return kind == KIND_RECEIPT || kind == KIND_TRANSIT_LOSS || kind == KIND_REVERSAL;
}

const char *tender_word(enum tender tender)
{
    return tender_words[tender];
}

const char *bearer_word(enum bearer bearer)
{
    return bearer_words[bearer];
}
