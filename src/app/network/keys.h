/* SPDX-License-Identifier: ISC */
/* Making and revoking keys. A secret exists twice: where it was shown, and, as a hash, in the database. */
#ifndef DEPOSITD_APP_NETWORK_KEYS_H
#define DEPOSITD_APP_NETWORK_KEYS_H

#include "app/network/control.h"
#include "store/key_store.h"

/* "dk_" and 32 random bytes in base64url, with the terminating NUL. */
enum { KEY_SECRET_SIZE = 3 + 43 + 1 };

/* Laid out as the shapes of JSON bodies fill lists. */
struct key_sites {
    char (*codes)[CODE_SIZE];
    size_t count;
};

struct key_request {
    char name[CODE_SIZE];
    int role;                    /* an enum role */
    struct key_sites sites;      /* of a pos key, else none */
    char participant[CODE_SIZE]; /* of a participant key, else "" */
    const char *holder;          /* whose hands it is in */
};

/* Makes a key. `json`, if not NULL, gets it as it is shown, without its secret. A dry run leaves no key
 * behind, and its secret opens nothing. STORE_OK with faults: none was made; where control has `proposed` it,
 * its secret opens nothing before it is approved, and where that was already, not even then. */
MUST_CHECK enum store_result key_add(struct pg *pg, const struct key_request *request,
                                     struct control *control, struct buffer *json,
                                     char secret[static KEY_SECRET_SIZE], struct faults *faults);

/* Makes a key that was proposed, with the secret that its proposer has. */
MUST_CHECK enum store_result key_add_approved(struct pg *pg, const struct key_request *request,
                                              const struct kept_write *kept, struct control *control,
                                              struct faults *faults);

/* The same for the command line: why it could not be, or REASON_NONE. */
MUST_CHECK enum reason key_create(struct pg *pg, const struct key_request *request,
                                  char secret[static KEY_SECRET_SIZE], struct faults *faults);

/* Gives the author's own key another secret; the old one ends at once. `json` gets the key as it is shown.
 * UNAUTHENTICATED is among the faults when it has been revoked meanwhile. */
MUST_CHECK enum store_result key_renew(struct pg *pg, const struct change_author *author, bool dry_run,
                                       struct buffer *json, char secret[static KEY_SECRET_SIZE],
                                       struct faults *faults);

/* NOT_FOUND is among the faults when there is no key of that name. */
MUST_CHECK enum store_result key_revoke(struct pg *pg, const char *name, const struct change_author *author,
                                        bool dry_run, struct faults *faults);

#endif
