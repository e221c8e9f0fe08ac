/* SPDX-License-Identifier: ISC */
/* Proposals are writes that weaken the control by two people. They are kept until a second person decides on
 * them. They are about reference data, keys, lines of the bank, exceptions and months; proposed_store.h has
 * proposed events. Texts are put into the given arena. */
#ifndef DEPOSITD_STORE_PROPOSAL_STORE_H
#define DEPOSITD_STORE_PROPOSAL_STORE_H

#include "depositd/civil.h"
#include "depositd/seal.h"
#include "store/proposal_status.h"
#include "store/read_store.h"

enum proposal_what {
    PROPOSAL_REFERENCE, /* a document */
    PROPOSAL_SCHEME,
    PROPOSAL_PARTICIPANT,
    PROPOSAL_KEY,
    PROPOSAL_BANK_LINE,
    PROPOSAL_EXCEPTION,
    PROPOSAL_MONTH,
    PROPOSAL_AGREEMENT,
    PROPOSAL_WHATS
};

/* The changes after a given number that need two people. */
struct weakening {
    const char *changes; /* JSON; NULL: there are none */
    int64_t others;
    int32_t *schemes; /* the schemes that they concern */
    size_t scheme_count;
};
/* The number of the last recorded change. */
MUST_CHECK enum store_result store_changes_last(struct pg *pg, int64_t *number);
MUST_CHECK enum store_result store_weakening(struct pg *pg, struct arena *arena, int64_t since,
                                             struct weakening *weakening);

struct proposed_write {
    enum proposal_what what;
    const char *name;                 /* "": none */
    const char *body;                 /* JSON, with its members sorted */
    const struct sha256 *secret_hash; /* of a key; else NULL */
    int32_t key;                      /* the key that proposes it */
    struct instant now;
    const char *why; /* NULL: not said */
};
/* *number: an open proposal that says the same; 0: there is none. */
MUST_CHECK enum store_result store_write_same(struct pg *pg, const struct proposed_write *write,
                                              int64_t *number);
MUST_CHECK enum store_result store_write_add(struct pg *pg, const struct proposed_write *write,
                                             const struct weakening *weakening, int64_t *number);

struct kept_write {
    enum proposal_what what;
    const char *name, *body, *why; /* `why` NULL: not said */
    struct sha256 secret_hash;     /* of a key */
    int32_t proposed_by, decided_by;
    struct instant proposed_at;
    enum proposal_status decision;
    int32_t scheme;      /* of a line of the bank, or an exception */
    bool asker_in_force; /* whether the key that proposed it is still in force */
};
MUST_CHECK enum store_result store_write_find(struct pg *pg, struct arena *arena, int64_t number, int32_t key,
                                              struct kept_write *write, bool *found);
MUST_CHECK enum store_result store_write_decide(struct pg *pg, int64_t number, enum proposal_status decision,
                                                struct instant now, int32_t key, const char *note);

/* Appends the proposal as JSON. A `status` that is not NULL replaces the proposal's own. */
MUST_CHECK enum store_result read_write(struct pg *pg, int64_t number, const char *status,
                                        struct buffer *json);
/* *found false: there is no such proposal. */
MUST_CHECK enum store_result read_write_if_there(struct pg *pg, int64_t number, struct buffer *json,
                                                 bool *found);
/* `scheme` 0: any. */
MUST_CHECK enum store_result read_writes(struct pg *pg, int32_t scheme, const struct proposed_filter *filter,
                                         struct list_slice *slice);

#endif
