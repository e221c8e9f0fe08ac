/* SPDX-License-Identifier: ISC */
/* Changes reference data: a single thing (PUT), or a whole document, all or nothing.
 *
 * Everything happens in one transaction under the heads of all schemes, so that no event is posted on data
 * that a change is about to replace. A change that makes no difference leaves no trace. A change with a fault
 * and a dry run leave none either. */
#ifndef DEPOSITD_APP_NETWORK_REFERENCE_H
#define DEPOSITD_APP_NETWORK_REFERENCE_H

#include "app/network/control.h"
#include "app/network/snapshot.h"
#include "store/reference_store.h"

/* The part of a document that is put. A document that comes in pieces has the office's codes last, because
 * they may name the accounts of sites. */
enum reference_part { REFERENCE_WHOLE, REFERENCE_BUT_OFFICE_ACCOUNTS, REFERENCE_OFFICE_ACCOUNTS_ALONE };

/* The document of POST /v1/reference; or refund values by themselves, all of one scheme. */
struct reference {
    enum reference_part part;
    struct reference_list cup_types, participants, schemes, sites, tax_registrations, site_kinds, agreements;
    const char *scheme; /* whose refund values follow; NULL: none do */
    struct reference_list refund_values;
};

/* Faults carry pointers into the document. STORE_OK with faults, or if control has `proposed` the change:
 * nothing was changed. */
MUST_CHECK enum store_result reference_apply(struct pg *pg, struct snapshot_cache *snapshots,
                                             const struct reference *document, struct control *control,
                                             struct faults *faults);

/* A document in pieces. Each piece refers only to things of itself and of pieces before, and things of
 * different pieces have different names. */
struct reference_pieces {
    /* Gives the next piece, which stays as it is until the next call; the faults of the one before are
     * there then. False: there are no more. */
    bool (*next)(struct reference_pieces *pieces, struct reference *piece);
    bool failed; /* a piece could not be read */
};
/* The same for a document in pieces: all in one transaction, all or nothing. The memory that it takes grows
 * only by some bytes for the name of each thing. */
MUST_CHECK enum store_result reference_apply_pieces(struct pg *pg, struct snapshot_cache *snapshots,
                                                    struct reference_pieces *pieces, struct control *control,
                                                    struct faults *faults);

/* A thing of any kind, named by the codes and dates of its path. */
struct reference_put {
    enum reference_kind kind;
    const char *names[REFERENCE_NAMES_MAX];
    void *row;            /* a struct KIND_row, names included */
    bool is_faulty;       /* faults were added for its shape: it is checked for others, and not put */
    const char *if_match; /* the header's value; NULL: none */
    struct control *control;
    const struct identity *reader; /* the identity that the thing is shown to */
};

enum { REFERENCE_TAG_SIZE = SHA256_HEX_MAX + 2 };

struct reference_shown {
    struct buffer *json; /* the caller's, empty */
    char tag[REFERENCE_TAG_SIZE];
    bool created;
};

/* Afterwards `shown` has the thing in its new state. If its old state does not match if_match,
 * PRECONDITION_FAILED is among the faults. If control has `proposed` the change, nothing is shown. */
MUST_CHECK enum store_result reference_put(struct pg *pg, struct snapshot_cache *snapshots,
                                           const struct reference_put *put, struct reference_shown *shown,
                                           struct faults *faults);

/* The entity tag of a representation: a quoted hash of it. */
void reference_tag(const struct buffer *json, char tag[static REFERENCE_TAG_SIZE]);
/* Whether the value of If-Match covers the thing with that tag. */
bool reference_tag_matches(const char *if_match, const char *tag);

#endif
