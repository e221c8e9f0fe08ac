/* SPDX-License-Identifier: ISC */
/* The rules of access. */
#include "depositd/access.h"

#include <string.h>

static const char *const role_words[ROLE_COUNT] = {"pos", "participant", "auditor", "accountant", "admin"};

/* Kinds that pay money on a person's word. */
static const uint32_t staff_kinds =
    1u << KIND_TRANSIT_LOSS | 1u << KIND_FORFEIT | 1u << KIND_REINSTATE | 1u << KIND_JOURNAL;

const char *role_word(enum role role)
{
    return role_words[role];
}

bool role_parse(const char *word, enum role *role)
{
    for (int i = 0; i < ROLE_COUNT; i++)
        if (strcmp(word, role_words[i]) == 0) {
            *role = (enum role)i;
            return true;
        }
    return false;
}

static bool names_site(const struct identity *identity, int32_t site)
{
    size_t low = 0, high = identity->site_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (identity->sites[middle] == site)
            return true;
        if (identity->sites[middle] < site)
            low = middle + 1;
        else
            high = middle;
    }
    return false;
}

bool identity_has_site(const struct identity *identity, const struct site *site)
{
    if (identity->role == ROLE_POS)
        return names_site(identity, site->id);
    if (identity->role == ROLE_PARTICIPANT)
        return identity->participant == site->participant;
    return true;
}

enum reason access_post(const struct identity *identity, enum entry_kind kind, const struct site *site)
{
    if (identity->role == ROLE_ACCOUNTANT || identity->role == ROLE_ADMIN)
        return REASON_NONE;
    if (identity->role != ROLE_POS || (staff_kinds & 1u << kind) != 0)
        return REASON_ROLE_NOT_ALLOWED;
    if (site == NULL || !identity_has_site(identity, site))
        return REASON_SITE_NOT_ALLOWED;
    if (kind == KIND_RETIRE && site->kind != SITE_HUB)
        return REASON_RETIRE_NEEDS_HUB;
    return REASON_NONE;
}
