/* SPDX-License-Identifier: ISC */
/* A statement, and how it ends. */
#ifndef DEPOSITD_STORE_STORE_RESULT_H
#define DEPOSITD_STORE_STORE_RESULT_H

#include "depositd/attributes.h"

struct sql {
    const char *name;
    const char *text;
};

enum store_result {
    STORE_OK = 0,
    STORE_UNAVAILABLE =
        -1, /* no connection, or it broke: nothing was committed unless a commit was under way */
    STORE_OUTCOME_UNKNOWN = -2, /* the connection broke while a commit was under way */
    STORE_CONFLICT = -3,        /* deadlock, serialization: try the transaction again */
    STORE_OUT_OF_RANGE = -4,    /* a number did not fit */
    STORE_REFUSED = -5,         /* a constraint of the database said no */
    STORE_FAILED = -6,          /* anything else: a bug, a missing grant */
    STORE_TOO_SLOW = -7,        /* no answer by the deadline: nothing was committed */
    STORE_LOCKED = -8           /* somebody else held a lock for as long as we would wait */
};

#endif
