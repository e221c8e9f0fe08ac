/* SPDX-License-Identifier: ISC */
/* Codes and names come from the network in memory. */
#include "http/pages/page_choices.h"

/* The things that the choices come from. */
struct choosing {
    const struct request *request;
    const struct scheme *scheme; /* NULL: any */
    const bool *known;           /* schemes that the key knows, by id */
    const bool *takes_part;      /* participants with a site in the scheme, by id */
};

struct thing {
    const char *code; /* NULL: it is not a choice */
    const char *name;
};

static struct thing scheme_choice(const struct choosing *of, size_t index)
{
    const struct scheme *each = &of->request->snapshot->network.schemes[index];
    return (struct thing){of->known[each->id] ? each->code : NULL, each->code};
}

static struct thing site_choice(const struct choosing *of, size_t index)
{
    const struct site *site = &of->request->snapshot->network.sites[index];
    bool known = identity_has_site(of->request->identity, site) &&
                 (of->scheme == NULL || site->scheme == of->scheme->id);
    return (struct thing){known ? site->code : NULL, site->name};
}

static struct thing participant_choice(const struct choosing *of, size_t index)
{
    const struct participant *participant = &of->request->snapshot->network.participants[index];
    const struct identity *identity = of->request->identity;
    bool known = (identity_has_all(identity) || identity->participant == participant->id) &&
                 (of->scheme == NULL || of->takes_part[participant->id]);
    return (struct thing){known ? participant->code : NULL, participant->name};
}

static struct thing cup_type_choice(const struct choosing *of, size_t index)
{
    const struct cup_type *type = &of->request->snapshot->network.cup_types[index];
    return (struct thing){type->code, type->name};
}

static size_t count_of(const struct network *network, enum page_choice_of of)
{
    const size_t counts[CHOOSE_KINDS] = {
        [CHOOSE_SCHEME] = network->scheme_count,
        [CHOOSE_SITE] = network->site_count,
        [CHOOSE_PARTICIPANT] = network->participant_count,
        [CHOOSE_CUP_TYPE] = network->cup_type_count,
    };
    return counts[of];
}

static bool *find_participants(const struct request *request, const struct scheme *scheme)
{
    const struct network *network = &request->snapshot->network;
    bool *takes_part = arena_array(request->arena, (size_t)network->participant_ids + 1, sizeof *takes_part);
    for (int32_t id = 0; takes_part != NULL && id < network->participant_ids; id++)
        takes_part[id] = false;
    for (size_t i = 0; takes_part != NULL && scheme != NULL && i < network->site_count; i++)
        if (network->sites[i].scheme == scheme->id)
            takes_part[network->sites[i].participant] = true;
    return takes_part;
}

bool page_choices(const struct request *request, enum page_choice_of of, const struct scheme *scheme,
                  struct page_choices *choices)
{
    static struct thing (*const each[CHOOSE_KINDS])(const struct choosing *, size_t) = {
        [CHOOSE_SCHEME] = scheme_choice,
        [CHOOSE_SITE] = site_choice,
        [CHOOSE_PARTICIPANT] = participant_choice,
        [CHOOSE_CUP_TYPE] = cup_type_choice,
    };
    const struct choosing choosing = {request, scheme, request_known_schemes(request),
                                      find_participants(request, scheme)};
    size_t things = count_of(&request->snapshot->network, of);
    *choices = (struct page_choices){
        .codes = arena_array(request->arena, PAGE_CHOICES_MAX + 1, sizeof(const char *)),
        .names = arena_array(request->arena, PAGE_CHOICES_MAX, sizeof(const char *)),
    };
    if (choosing.known == NULL || choosing.takes_part == NULL || choices->codes == NULL ||
        choices->names == NULL)
        return false;
    for (size_t i = 0; i < things; i++) {
        struct thing thing = each[of](&choosing, i);
        if (thing.code == NULL)
            continue;
        if (choices->count == PAGE_CHOICES_MAX) {
            *choices = (struct page_choices){.codes = NULL};
            return true;
        }
        choices->codes[choices->count] = thing.code;
        choices->names[choices->count++] = thing.name;
    }
    choices->codes[choices->count] = NULL;
    return true;
}
