/* SPDX-License-Identifier: ISC */
/* Permissions: keys, their roles, the rules for posting events, and the acts that count as one person's. The
 * row of a route lists the roles that may use it. Pure; any thread. */
#ifndef DEPOSITD_ACCESS_H
#define DEPOSITD_ACCESS_H

#include "depositd/event.h"
#include "depositd/network.h"
#include "depositd/reason.h"
#include "depositd/role.h"

enum { LANGUAGE_SIZE = 4 }; /* a code of ISO 639 */

/* A key that was shown to be the caller's. */
struct identity {
    int32_t key;
    char name[CODE_SIZE];
    enum role role;
    char language[LANGUAGE_SIZE]; /* of its pages; "": as its browser prefers */
    struct sha256 secret_hash;
    const int32_t *sites; /* ids in ascending order; none but for REACH_SITES */
    size_t site_count;
    int32_t participant; /* id; 0 but for REACH_PARTICIPANT */
};

/* The people who may have used a key: its holder, and its maker, who has seen its secret. */
struct key_origin {
    int32_t holder;            /* keys of one holder have the same number, from 1 */
    int32_t made_by;           /* a key; 0: the command line */
    struct instant renewed_at; /* when its holder gave it another secret, or KEY_NOT_RENEWED */
};
#define KEY_NOT_RENEWED ((struct instant){INT64_MAX})

/* The origins of all keys that there ever were, also of revoked keys. */
struct key_origins {
    const struct key_origin *by_key; /* index: key id; a holder of 0 where there is none */
    int32_t key_ids;                 /* highest id + 1 */
};

/* Something that was done with a key. */
struct key_act {
    int32_t key;
    struct instant at;
};

/* Whether one person may have done both. A key stands for its holder. Until the holder has renewed its
 * secret, it also stands for all people for whom its maker's key stands. Two acts are by one person if their
 * keys, at the instants of the acts, have a person in common. A key that is not known might be anybody's. */
bool key_acts_by_one_person(const struct key_origins *origins, struct key_act a, struct key_act b);

/* Whether the key stood for its holder alone at the instant of the act. */
bool key_is_its_holders(const struct key_origins *origins, struct key_act act);

/* All keys in force, and where all keys come from. */
struct keyring {
    const struct identity *identities; /* in ascending order of secret_hash */
    size_t count;
    const struct identity *const *by_key; /* index: key id; NULL where there is none */
    int32_t key_ids;                      /* highest id + 1 */
    struct key_origins origins;
};

/* Whether the key is for this site: the key names it, or the key's participant owns it, or the key is for
 * all. */
bool identity_has_site(const struct identity *identity, const struct site *site);
/* Whether the key is for all sites and participants. */
bool identity_has_all(const struct identity *identity);

/* Whether the key may post this kind of event at a site (NULL for kinds that name none, or when it is not
 * known), which is of the kind that it has on `day`: REASON_NONE, ROLE_NOT_ALLOWED, SITE_NOT_ALLOWED or
 * RETIRE_NEEDS_HUB. A reversal on a closed day is decided later. */
enum reason access_post(const struct identity *identity, enum entry_kind kind, const struct site *site,
                        struct date day);

#endif
