/* SPDX-License-Identifier: ISC */
/* The rules of access. */
#include "depositd/access.h"

#include <stdlib.h>

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
    switch (role_reach(identity->role)) {
    case REACH_SITES:
        return names_site(identity, site->id);
    case REACH_PARTICIPANT:
        return identity->participant == site->participant;
    case REACH_EVERYTHING:
        return true;
    }
    abort();
}

bool identity_has_all(const struct identity *identity)
{
    return role_reach(identity->role) == REACH_EVERYTHING;
}

/* NULL: there is no such key. */
static const struct key_origin *origin_of(const struct key_origins *origins, int32_t key)
{
    bool known = key > 0 && key < origins->key_ids && origins->by_key[key].holder != 0;
    return known ? &origins->by_key[key] : NULL;
}

/* The key whose persons the key also stands for at the instant; 0: none. A key is made after its maker, so a
 * maker with a higher number is no maker. */
static int32_t maker_of(const struct key_origins *origins, int32_t key, struct instant at)
{
    const struct key_origin *origin = origin_of(origins, key);
    bool renewed = origin->renewed_at.us <= at.us;
    return renewed || origin->made_by >= key ? 0 : origin->made_by;
}

static bool stands_for(const struct key_origins *origins, struct key_act act, int32_t holder)
{
    for (int32_t key = act.key; key != 0; key = maker_of(origins, key, act.at)) {
        const struct key_origin *origin = origin_of(origins, key);
        if (origin == NULL || origin->holder == holder)
            return true;
    }
    return false;
}

bool key_acts_by_one_person(const struct key_origins *origins, struct key_act a, struct key_act b)
{
    for (int32_t key = a.key; key != 0; key = maker_of(origins, key, a.at)) {
        const struct key_origin *origin = origin_of(origins, key);
        if (origin == NULL || stands_for(origins, b, origin->holder))
            return true;
    }
    return false;
}

bool key_is_its_holders(const struct key_origins *origins, struct key_act act)
{
    for (int32_t key = act.key; key != 0; key = maker_of(origins, key, act.at)) {
        const struct key_origin *origin = origin_of(origins, key);
        if (origin == NULL || origin->holder != origins->by_key[act.key].holder)
            return false;
    }
    return act.key != 0;
}

enum reason access_post(const struct identity *identity, enum entry_kind kind, const struct site *site,
                        struct date day)
{
    if ((entry_kind_posters(kind) & 1u << identity->role) == 0)
        return REASON_ROLE_NOT_ALLOWED;
    if (identity_has_all(identity))
        return REASON_NONE;
    if (site == NULL || !identity_has_site(identity, site))
        return REASON_SITE_NOT_ALLOWED;
    if (kind == KIND_RETIRE && site_kind_on(site, day) != SITE_HUB)
        return REASON_RETIRE_NEEDS_HUB;
    return REASON_NONE;
}
