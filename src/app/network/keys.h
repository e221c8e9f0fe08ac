/* SPDX-License-Identifier: ISC */
/* Makes and revokes keys. A secret exists in only two places: where it was shown, and in the database as a
 * hash. */
#ifndef DEPOSITD_APP_NETWORK_KEYS_H
#define DEPOSITD_APP_NETWORK_KEYS_H

#include "app/network/control.h"
#include "app/network/secret.h"
#include "store/key_store.h"

enum { KEY_SECRET_SIZE = SECRET_SIZE };

/* The layout in which the shapes of JSON bodies fill lists. */
struct key_sites {
    char (*codes)[CODE_SIZE];
    size_t count;
};

struct key_request {
    char name[CODE_SIZE];
    int role;                    /* an enum role */
    struct key_sites sites;      /* of a pos key, otherwise empty */
    char participant[CODE_SIZE]; /* of a participant key, otherwise "" */
    const char *holder;          /* the person who has the key */
    int language;                /* of its pages, as an index of words_codes … */
    bool has_language;           /* … if it has one */
};

/* Makes a key. `json`, if not NULL, gets the key as it is shown, without its secret. A dry run leaves no key
 * behind, and its secret opens nothing. STORE_OK with faults: no key was made. If control has `proposed` the
 * key, its secret opens nothing before the approval. If it had been proposed before, this secret never opens
 * anything. */
MUST_CHECK enum store_result key_add(struct pg *pg, const struct key_request *request,
                                     struct control *control, struct buffer *json,
                                     char secret[static KEY_SECRET_SIZE], struct faults *faults);

/* Makes a key that was proposed, with the secret that its proposer has. */
MUST_CHECK enum store_result key_add_approved(struct pg *pg, const struct key_request *request,
                                              const struct kept_write *kept, struct control *control,
                                              struct faults *faults);

/* The same for the command line. Returns the reason for a refusal, or REASON_NONE. */
MUST_CHECK enum reason key_create(struct pg *pg, const struct key_request *request,
                                  char secret[static KEY_SECRET_SIZE], struct faults *faults);

/* Gives the author's own key another secret. The old secret ends at once. `json` gets the key as it is shown.
 * If the key has been revoked meanwhile, UNAUTHENTICATED is among the faults. */
MUST_CHECK enum store_result key_renew(struct pg *pg, const struct change_author *author, bool dry_run,
                                       struct buffer *json, char secret[static KEY_SECRET_SIZE],
                                       struct faults *faults);

struct key_language {
    const char *name;  /* of the key; NULL: the author's own */
    int language;      /* of its pages, as an index of words_codes … */
    bool has_language; /* … if it has one */
};

/* Changes the language of the pages of a key. `json` gets the key as it is shown. If there is no key with
 * that name, NOT_FOUND is among the faults. If the author's own key has been revoked meanwhile,
 * UNAUTHENTICATED is. */
MUST_CHECK enum store_result key_change_language(struct pg *pg, const struct key_language *change,
                                                 const struct change_author *author, bool dry_run,
                                                 struct buffer *json, struct faults *faults);

/* If there is no key with that name, NOT_FOUND is among the faults. */
MUST_CHECK enum store_result key_revoke(struct pg *pg, const char *name, const struct change_author *author,
                                        bool dry_run, struct faults *faults);

#endif
