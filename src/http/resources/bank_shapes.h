/* SPDX-License-Identifier: ISC */
/* The bodies of requests about the bank. */
#ifndef DEPOSITD_HTTP_RESOURCES_BANK_SHAPES_H
#define DEPOSITD_HTTP_RESOURCES_BANK_SHAPES_H

#include "depositd/event.h"
#include "http/request/shape.h"

enum file_type { FILE_PAYOUTS, FILE_COLLECTIONS };

struct file_request {
    int type; /* enum file_type */
};

/* The accounts by which a line may be resolved. The first needs a participant. */
enum resolve_account {
    RESOLVE_ARREARS,
    RESOLVE_CHARGES,
    RESOLVE_INTEREST,
    RESOLVE_OPERATOR,
    RESOLVE_BETWEEN
};

struct resolve_request {
    const char *payment_id;      /* the line is for this payment; NULL: it is not for a payment */
    char participant[CODE_SIZE]; /* the line is for this participant's arrears */
    bool has_participant;
    int account; /* enum resolve_account */
    bool has_account;
    char scheme[CODE_SIZE]; /* the line is what this scheme owed */
    bool has_scheme;
    const char *note;
};

extern const struct shape shape_file, shape_resolve;

#endif
