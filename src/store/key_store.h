/* SPDX-License-Identifier: ISC */
/* Keys in the database. Only the hash of a secret is stored. */
#ifndef DEPOSITD_STORE_KEY_STORE_H
#define DEPOSITD_STORE_KEY_STORE_H

#include "depositd/access.h"
#include "store/json_slice.h"

struct key_row {
    const char *name;
    enum role role;
    const char *participant;  /* code; NULL: none */
    const char *const *sites; /* codes */
    size_t site_count;
    const char *holder;
    const char *language; /* of its pages; NULL: as the browser prefers */
    int32_t made_by;      /* a key; 0: the command line */
    struct sha256 secret_hash;
};

struct key_facts {
    bool name_taken;
    bool participant_known;
    int64_t *unknown_sites; /* indices into sites, in memory of the arena */
    size_t unknown_site_count;
};
MUST_CHECK enum store_result store_key_facts(struct pg *pg, struct arena *arena, const struct key_row *row,
                                             struct key_facts *facts);

MUST_CHECK enum store_result store_key_add(struct pg *pg, const struct key_row *row);

/* `found`: whether there was a key of that name in force. */
MUST_CHECK enum store_result store_key_revoke(struct pg *pg, const char *name, int32_t revoked_by,
                                              bool *found);

/* Gives a key that is in force a new secret. *name: the key's name; NULL: it is not in force. */
MUST_CHECK enum store_result store_key_renew(struct pg *pg, struct arena *arena, int32_t key,
                                             const struct sha256 *secret_hash, struct instant now,
                                             const char **name);

/* Changes the language of the pages of a key that is in force: of `key`, or if that is 0 of the key of a
 * name. `language` NULL: as the browser prefers. *found: the key's name; NULL: it is not in force. */
MUST_CHECK enum store_result store_key_language(struct pg *pg, struct arena *arena, int32_t key,
                                                const char *name, const char *language, const char **found);

/* Appends keys to `json`, without their secrets. With a name: the key of that name that is in force. Without
 * a name: all keys after `after`, in force or not; `limit` 0: any number. */
MUST_CHECK enum store_result store_key_read(struct pg *pg, const char *name, const char *after, int limit,
                                            struct buffer *json, struct json_slice *slice);

/* Appends what a key may know of itself. */
MUST_CHECK enum store_result store_key_self(struct pg *pg, int32_t key, struct buffer *json);

#endif
