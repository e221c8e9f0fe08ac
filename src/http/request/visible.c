/* SPDX-License-Identifier: ISC */
/* A till's key sees the sites that it names, a participant's key sees the participant's sites, and the office
 * sees all. */
#include "http/request/visible.h"

#include <stdlib.h>

/* The sites of a participant, in the request's arena. */
static bool own_sites(const struct request *request, struct visible_sites *visible)
{
    const struct network *network = &request->snapshot->network;
    int32_t *ids = arena_array(request->arena, network->site_count + 1, sizeof *ids);
    if (ids == NULL)
        return false;
    *visible = (struct visible_sites){.ids = ids};
    for (size_t i = 0; i < network->site_count; i++)
        if (network->sites[i].participant == request->identity->participant)
            ids[visible->count++] = network->sites[i].id;
    return true;
}

bool request_visible(const struct request *request, struct answer *answer, struct visible_sites *visible)
{
    const struct identity *identity = request->identity;
    switch (role_reach(identity->role)) {
    case REACH_SITES:
        *visible = (struct visible_sites){.ids = identity->sites, .count = identity->site_count};
        return true;
    case REACH_PARTICIPANT:
        if (own_sites(request, visible))
            return true;
        faults_add(&answer->faults, REASON_INTERNAL_ERROR, NULL, "out of memory");
        return false;
    case REACH_EVERYTHING:
        *visible = (struct visible_sites){.all = true};
        return true;
    }
    abort();
}
