/* SPDX-License-Identifier: ISC */
/* Changing reference data: one thing at a time (PUT) or a whole document, all or nothing.
 *
 * Everything happens in one transaction under the heads of all schemes, so that no event is posted on data
 * that a change is about to replace. A change that makes no difference leaves no trace, and neither does one
 * with a fault or a dry run. */
#ifndef DEPOSITD_APP_NETWORK_REFERENCE_H
#define DEPOSITD_APP_NETWORK_REFERENCE_H

#include "app/network/control.h"
#include "store/reference_store.h"

/* The document of POST /v1/reference. */
struct reference {
    struct reference_list cup_types, participants, schemes, sites;
};

/* Faults carry pointers into the document. STORE_OK with faults: nothing was changed; and neither where
 * control has `proposed` it. */
MUST_CHECK enum store_result reference_apply(struct pg *pg, const struct reference *document,
                                             struct control *control, struct faults *faults);

/* One thing of any kind, named by the codes and dates of its path. */
struct reference_put {
    enum reference_kind kind;
    const char *names[REFERENCE_NAMES_MAX];
    void *row;            /* a struct KIND_row, names included */
    const char *if_match; /* the header's value; NULL: none */
    struct control *control;
    const struct identity *reader; /* for whom it is shown */
};

enum { REFERENCE_TAG_SIZE = SHA256_HEX_MAX + 2 };

struct reference_shown {
    struct buffer *json; /* the caller's, empty */
    char tag[REFERENCE_TAG_SIZE];
    bool created;
};

/* Afterwards `shown` has the thing as it now is. PRECONDITION_FAILED is among the faults when it was not as
 * if_match says. Where control has `proposed` it, nothing is shown. */
MUST_CHECK enum store_result reference_put(struct pg *pg, const struct reference_put *put,
                                           struct reference_shown *shown, struct faults *faults);

/* The entity tag of a representation: a quoted hash of it. */
void reference_tag(const struct buffer *json, char tag[static REFERENCE_TAG_SIZE]);
/* Whether the value of If-Match is for the thing of that tag. */
bool reference_tag_matches(const char *if_match, const char *tag);

#endif
