/* SPDX-License-Identifier: ISC */
/* The roles that a key can have. DEVELOPERS.md says how to add one. */
#ifndef DEPOSITD_ROLE_H
#define DEPOSITD_ROLE_H

enum role { ROLE_POS, ROLE_PARTICIPANT, ROLE_AUDITOR, ROLE_ACCOUNTANT, ROLE_ADMIN, ROLE_COUNT };

/* A set of roles, 1u << role. */
enum {
    FOR_POS = 1u << ROLE_POS,
    FOR_PARTICIPANT = 1u << ROLE_PARTICIPANT,
    FOR_AUDITOR = 1u << ROLE_AUDITOR,
    FOR_ACCOUNTANT = 1u << ROLE_ACCOUNTANT,
    FOR_ADMIN = 1u << ROLE_ADMIN,
    FOR_STAFF = FOR_ACCOUNTANT | FOR_ADMIN,
    FOR_OFFICE = FOR_AUDITOR | FOR_STAFF,
    FOR_ALL = FOR_POS | FOR_PARTICIPANT | FOR_OFFICE
};

#endif
