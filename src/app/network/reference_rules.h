/* SPDX-License-Identifier: ISC */
/* The change of reference data under way, and ways to say that a rule is broken. Private to this wing. */
#ifndef DEPOSITD_APP_NETWORK_REFERENCE_RULES_H
#define DEPOSITD_APP_NETWORK_REFERENCE_RULES_H

#include "app/transaction/fault.h"
#include "store/reference_store.h"

struct reference;

enum { PLACE_MAX = 96, DECIMALS_UNKNOWN = -1 };

struct change {
    struct pg *pg;
    struct arena *arena;
    struct faults *faults;
    const struct reference *document; /* NULL: a single thing is put */
    const char *scheme;               /* the scheme whose terms and refund values are put */
    int64_t version;
    int32_t proposed_by;   /* the key that asks for it, or asked for what is approved now */
    int32_t approved_by;   /* 0: nobody has yet */
    char place[PLACE_MAX]; /* pointer of the current row */
    bool made_difference;
    /* Facts about the scheme around terms and refund values, if the document gives it. */
    bool in_scheme, scheme_faulty;
    int decimals; /* DECIMALS_UNKNOWN: its currency is unknown */
};

/* Adds a fault of the current row; `member` is "" or "/name…". */
void blame(struct change *change, enum reason reason, const char *member, const char *detail);
/* Adds a fault of the name of the row: a member in a document, or a part of the path when a single thing is
 * put. */
void blame_name(struct change *change, enum reason reason, const char *member, const char *detail);
/* Adds a fault of an element of a list in the current row. */
void blame_element(struct change *change, enum reason reason, const char *list, size_t index,
                   const char *member, const char *detail);
void blame_too_soon(struct change *change);
void check_amount(struct change *change, const char *member, struct decimal amount, int decimals);

#endif
