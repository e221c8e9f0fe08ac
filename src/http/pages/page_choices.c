/* SPDX-License-Identifier: ISC */
/* Codes come from the network in memory, names from the database. */
#include "http/pages/page_choices.h"

#include "store/read_store.h"

/* The things that the choices come from. */
struct choosing {
    const struct request *request;
    const struct scheme *scheme; /* NULL: any */
    const bool *known;           /* schemes that the key knows, by id */
    const bool *takes_part;      /* participants with a site in the scheme, by id */
};

struct thing {
    const char *code; /* NULL: it is not a choice */
    int32_t id;
};

static struct thing scheme_choice(const struct choosing *of, size_t index)
{
    const struct scheme *each = &of->request->snapshot->network.schemes[index];
    return (struct thing){of->known[each->id] ? each->code : NULL, each->id};
}

static struct thing site_choice(const struct choosing *of, size_t index)
{
    const struct site *site = &of->request->snapshot->network.sites[index];
    bool known = identity_has_site(of->request->identity, site) &&
                 (of->scheme == NULL || site->scheme == of->scheme->id);
    return (struct thing){known ? site->code : NULL, site->id};
}

static struct thing participant_choice(const struct choosing *of, size_t index)
{
    const struct participant *participant = &of->request->snapshot->network.participants[index];
    const struct identity *identity = of->request->identity;
    bool known = (identity_has_all(identity) || identity->participant == participant->id) &&
                 (of->scheme == NULL || of->takes_part[participant->id]);
    return (struct thing){known ? participant->code : NULL, participant->id};
}

static struct thing cup_type_choice(const struct choosing *of, size_t index)
{
    const struct cup_type *type = &of->request->snapshot->network.cup_types[index];
    return (struct thing){type->code, type->id};
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
        .ids = arena_array(request->arena, PAGE_CHOICES_MAX + 1, sizeof(int32_t)),
    };
    if (choosing.known == NULL || choosing.takes_part == NULL || choices->codes == NULL ||
        choices->ids == NULL)
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
        choices->ids[choices->count++] = thing.id;
    }
    choices->codes[choices->count] = NULL;
    return true;
}

enum store_result page_choices_name(const struct request *request,
                                    struct page_choices choices[static CHOOSE_KINDS])
{
    const char **names;
    size_t count, at = 0;
    const struct page_choices *sites = &choices[CHOOSE_SITE], *participants = &choices[CHOOSE_PARTICIPANT],
                              *cup_types = &choices[CHOOSE_CUP_TYPE];
    if (sites->count + participants->count + cup_types->count == 0)
        return STORE_OK;
    const struct names_asked asked = {
        .sites = {sites->ids, sites->count},
        .participants = {participants->ids, participants->count},
        .cup_types = {cup_types->ids, cup_types->count},
    };
    enum store_result result = read_thing_names(request->pg, request->arena, &asked, &names, &count);
    for (enum page_choice_of of = CHOOSE_SITE; result == STORE_OK && of < CHOOSE_KINDS; of++) {
        choices[of].names = choices[of].count > 0 ? names + at : NULL;
        at += choices[of].count;
    }
    return result == STORE_OK && at != count ? STORE_FAILED : result;
}
