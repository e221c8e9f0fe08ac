/* SPDX-License-Identifier: ISC */
/* A key bound to sites reads the names of its own sites and of its participant, and those of all cup types.
 */
#include "http/pages/page_names.h"

#include <string.h>

enum thing { NO_THING, SITE, PARTICIPANT, CUP_TYPE };

/* The things that members name. In some answers a member names a site, in others a participant. */
static const struct {
    const char *member;
    enum thing first, second;
} members[] = {
    {"site", SITE, NO_THING},         {"participant", PARTICIPANT, NO_THING},
    {"cup_type", CUP_TYPE, NO_THING}, {"sender", SITE, NO_THING},
    {"receiver", SITE, NO_THING},     {"payer", PARTICIPANT, NO_THING},
    {"payee", PARTICIPANT, NO_THING}, {"from", PARTICIPANT, SITE},
    {"to", PARTICIPANT, SITE},        {"counterparty", PARTICIPANT, SITE},
};

static const char *name_of(const struct request *request, enum thing thing, const char *code)
{
    const struct network *network = &request->snapshot->network;
    const struct identity *identity = request->identity;
    const struct site *site = thing == SITE ? network_site(network, code) : NULL;
    const struct participant *participant = thing == PARTICIPANT ? network_participant(network, code) : NULL;
    const struct cup_type *cup_type = thing == CUP_TYPE ? network_cup_type(network, code) : NULL;
    if (site != NULL && (identity_has_all(identity) || identity_has_site(identity, site)))
        return site->name;
    if (participant != NULL && (identity_has_all(identity) || identity->participant == participant->id))
        return participant->name;
    return cup_type != NULL ? cup_type->name : NULL;
}

const char *page_name_of(const struct request *request, const char *member, const char *code)
{
    const char *name = NULL;
    if (request->identity == NULL || request->snapshot == NULL)
        return NULL;
    for (size_t i = 0; name == NULL && i < sizeof members / sizeof members[0]; i++) {
        if (strcmp(members[i].member, member) != 0)
            continue;
        name = name_of(request, members[i].first, code);
        if (name == NULL)
            name = name_of(request, members[i].second, code);
    }
    return name != NULL && strcmp(name, code) != 0 ? name : NULL;
}
