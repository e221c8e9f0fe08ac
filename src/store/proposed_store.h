/* SPDX-License-Identifier: ISC */
/* Events that take two people, until a second person decides on them. All but the look-up of schemes runs
 * within a transaction that holds the scheme's head row. Results are put into the given arena. */
#ifndef DEPOSITD_STORE_PROPOSED_STORE_H
#define DEPOSITD_STORE_PROPOSED_STORE_H

#include "store/ledger_store.h"
#include "store/proposal_status.h"

/* Journals, and openings with their reversals. Each family has routes of its own. */
enum proposed_family { PROPOSED_JOURNALS, PROPOSED_OPENINGS };

struct proposal_row {
    const struct event *event;
    const struct leg *legs;
    size_t leg_count;
    int32_t key; /* the key that proposes it */
};
MUST_CHECK enum store_result store_proposal_add(struct pg *pg, int32_t scheme, struct instant now,
                                                const struct proposal_row *row);

/* The open and the withdrawn proposals, as events that the schemes know, in the order of the schemes. They
 * are not in the ledger. */
MUST_CHECK enum store_result store_proposals(struct pg *pg, struct arena *arena, const int32_t *schemes,
                                             size_t scheme_count, struct known_event **known, size_t *count);

/* The schemes that have a proposal with this id, in ascending order. */
MUST_CHECK enum store_result store_proposal_schemes(struct pg *pg, struct arena *arena,
                                                    enum proposed_family family, const struct uuid *id,
                                                    int32_t **schemes, size_t *count);

struct proposal {
    enum entry_kind kind;
    enum proposal_status status;
    int32_t proposed_by, decided_by; /* keys; 0: nobody yet */
    struct instant proposed_at;
    const char *event; /* as posted, canonical JSON */
    struct instant occurred_at;
    struct leg *legs;
    size_t leg_count;
    int64_t reverses; /* the entry; 0: it is no reversal */
};

struct proposed_name {
    int32_t scheme;
    enum proposed_family family;
    struct uuid id;
};
MUST_CHECK enum store_result store_proposal(struct pg *pg, struct arena *arena,
                                            const struct proposed_name *name, struct proposal *proposal,
                                            bool *found);

struct proposal_decision {
    enum proposal_status status;
    struct instant decided_at;
    int32_t key;
    const char *note; /* NULL: none */
    int64_t entry;    /* 0: none */
};
MUST_CHECK enum store_result store_proposal_decide(struct pg *pg, int32_t scheme, const struct uuid *id,
                                                   const struct proposal_decision *decision);

#endif
