/* SPDX-License-Identifier: ISC */
/* The roles that a key can have, in one table. The parser, the command line, shapes of bodies, the OpenAPI
 * document, sets of roles and the reach of keys are made from it. Pure; any thread. */
#ifndef DEPOSITD_ROLE_H
#define DEPOSITD_ROLE_H

#include "depositd/attributes.h"

#include <stdbool.h>

/* The sites and participants that a key of the role is for. */
enum role_reach {
    REACH_SITES,       /* the sites that the key names */
    REACH_PARTICIPANT, /* the participant that the key names, and its sites */
    REACH_EVERYTHING
};

/* The sets of roles that a role belongs to, besides FOR_ALL and its own. */
enum role_group {
    GROUP_FIELD,  /* no further set */
    GROUP_READER, /* FOR_OFFICE */
    GROUP_STAFF   /* FOR_OFFICE and FOR_STAFF */
};

/* Whether a second person must approve a new key of the role where dual control is in force. A role must say
 * MADE_BY_TWO if it may take either of two steps that dual control keeps apart: nobody can then make the
 * second key alone. */
enum role_making { MADE_BY_ONE, MADE_BY_TWO };

/* Every row has every member. X(name, word, reach, group, making, meaning). */
#define ROLE_TABLE(X)                                                                                        \
    X(POS, pos, SITES, FIELD, BY_ONE, "a till or counter that posts events of its own sites")                \
    X(PARTICIPANT, participant, PARTICIPANT, FIELD, BY_ONE, "a participant that reads what is its own")      \
    X(AUDITOR, auditor, EVERYTHING, READER, BY_ONE, "reads the books of all schemes, changes nothing")       \
    X(ACCOUNTANT, accountant, EVERYTHING, STAFF, BY_TWO,                                                     \
      "posts any event, closes days, decides on payments")                                                   \
    X(ADMIN, admin, EVERYTHING, STAFF, BY_TWO,                                                               \
      "does what an accountant does, and keeps reference data and keys")

/* The words of the roles with a reach, joined by "or", as help and messages name them.
 * tests/unit/test_router.c compares them with the table. */
#define ROLES_OF_SITES       "pos"
#define ROLES_OF_PARTICIPANT "participant"

enum role {
#define X(name, ...) ROLE_##name,
    ROLE_TABLE(X)
#undef X
        ROLE_COUNT
};

/* Sets of roles, 1u << role: FOR_POS and so on, and those of several roles. */
enum {
#define X(name, ...) FOR_##name = 1u << ROLE_##name,
    ROLE_TABLE(X)
#undef X
        FOR_ALL = (1u << ROLE_COUNT) - 1,
#define X(name, word, reach, group, ...) | (GROUP_##group == GROUP_STAFF ? FOR_##name : 0)
    FOR_STAFF = 0 ROLE_TABLE(X),
#undef X
#define X(name, word, reach, group, ...) | (GROUP_##group == GROUP_READER ? FOR_##name : 0)
    FOR_OFFICE = FOR_STAFF ROLE_TABLE(X)
#undef X
};

const char *role_word(enum role role);
MUST_CHECK bool role_parse(const char *word, enum role *role);
/* The purpose of a key of the role, in words for people. */
const char *role_meaning(enum role role);
enum role_reach role_reach(enum role role);
enum role_making role_making(enum role role);

#endif
