/* SPDX-License-Identifier: ISC */
/* Look-ups in the network and in a scheme's calendar: binary searches over sorted arrays. */
#include "depositd/network.h"

#include <stdlib.h>
#include <string.h>

/* Every element type that is searched by code begins with its id and its code. */
struct coded {
    int32_t id;
    char code[CODE_SIZE];
};
_Static_assert(offsetof(struct scheme, code) == offsetof(struct coded, code), "scheme begins as coded");
_Static_assert(offsetof(struct participant, code) == offsetof(struct coded, code), "so does participant");
_Static_assert(offsetof(struct site, code) == offsetof(struct coded, code), "so does site");
_Static_assert(offsetof(struct cup_type, code) == offsetof(struct coded, code), "so does cup_type");

static int compare_code(const void *key, const void *element)
{
    return strcmp(key, (const char *)element + offsetof(struct coded, code));
}

static const void *find_code(const char *code, const void *elements, size_t count, size_t size)
{
    return count > 0 ? bsearch(code, elements, count, size, compare_code) : NULL;
}

const struct scheme *network_scheme(const struct network *network, const char *code)
{
    return find_code(code, network->schemes, network->scheme_count, sizeof *network->schemes);
}

const struct participant *network_participant(const struct network *network, const char *code)
{
    return find_code(code, network->participants, network->participant_count, sizeof *network->participants);
}

const struct site *network_site(const struct network *network, const char *code)
{
    return find_code(code, network->sites, network->site_count, sizeof *network->sites);
}

const struct cup_type *network_cup_type(const struct network *network, const char *code)
{
    return find_code(code, network->cup_types, network->cup_type_count, sizeof *network->cup_types);
}

/* Takes the code that ends at one of `ends`, and that character. False: there is no code there. */
static bool take_code(const char **rest, const char *ends, char code[static CODE_SIZE])
{
    size_t length = strcspn(*rest, ends);
    if (length == 0 || length > CODE_MAX || (*rest)[length] == '\0')
        return false;
    memcpy(code, *rest, length);
    code[length] = '\0';
    *rest += length + 1;
    return true;
}

static int32_t id_of(const void *coded)
{
    return coded != NULL ? ((const struct coded *)coded)->id : 0;
}

static bool takes_cup_type(enum account_scope scope)
{
    return scope == SCOPE_CUP_TYPE || scope == SCOPE_SITE_CUP_TYPE || scope == SCOPE_OTHER_CUP_TYPE;
}

static bool take_scheme(const struct network *network, const char **rest, const char *ends, int32_t *scheme)
{
    char code[CODE_SIZE];
    if (!take_code(rest, ends, code))
        return false;
    *scheme = id_of(network_scheme(network, code));
    return *scheme > 0 && *scheme < ACCOUNT_SCHEMES_MAX;
}

/* Takes the owner that accounts of this scope have. False: there is no such thing. */
static bool take_owner(const struct network *network, enum account_scope scope, const char **rest,
                       int32_t *owner)
{
    char code[CODE_SIZE];
    const char *ends = takes_cup_type(scope) ? "," : ")";
    int32_t host;
    switch (scope) {
    case SCOPE_SITE:
    case SCOPE_SITE_CUP_TYPE:
        *owner = take_code(rest, ends, code) ? id_of(network_site(network, code)) : 0;
        return *owner != 0;
    case SCOPE_PARTICIPANT:
        *owner = take_code(rest, ends, code) ? id_of(network_participant(network, code)) : 0;
        return *owner != 0;
    case SCOPE_OTHER:
    case SCOPE_OTHER_CUP_TYPE:
        return take_scheme(network, rest, ends, owner);
    case SCOPE_PAIR:
        if (!take_scheme(network, rest, ",", owner) || !take_scheme(network, rest, ends, &host))
            return false;
        *owner = account_pair(*owner, host);
        return true;
    case SCOPE_SCHEME:
    case SCOPE_CUP_TYPE:
        return true;
    }
    abort();
}

bool network_account(const struct network *network, const char *name, struct account *account)
{
    char code[CODE_SIZE];
    int32_t owner = 0, cup_type = 0;
    const char *rest = name + strcspn(name, "(");
    enum account_kind kind = account_kind_parse(name, (size_t)(rest - name));
    if (kind == ACCOUNT_NONE)
        return false;
    enum account_scope scope = account_kind_scope(kind);
    if (scope != SCOPE_SCHEME && *rest++ == '\0')
        return false;
    if (!take_owner(network, scope, &rest, &owner))
        return false;
    if (takes_cup_type(scope)) {
        if (!take_code(&rest, ")", code))
            return false;
        cup_type = id_of(network_cup_type(network, code));
        if (cup_type == 0)
            return false;
    }
    *account = account_of(kind, owner, cup_type);
    return *rest == '\0';
}

bool network_takes_part(const struct network *network, int32_t participant, int32_t scheme)
{
    for (size_t i = 0; i < network->site_count; i++)
        if (network->sites[i].scheme == scheme && network->sites[i].participant == participant)
            return true;
    return false;
}

bool network_account_is_of(const struct network *network, struct account account, int32_t scheme)
{
    int32_t owner = account_owner(account);
    switch (account_kind_scope(account_kind_of(account))) {
    case SCOPE_SITE:
    case SCOPE_SITE_CUP_TYPE:
        return owner < network->site_ids && network->site_by_id[owner] != NULL &&
               network->site_by_id[owner]->scheme == scheme;
    case SCOPE_PARTICIPANT:
        return network_takes_part(network, owner, scheme);
    case SCOPE_PAIR:
        return account_home(account) != account_host(account) &&
               (account_home(account) == scheme || account_host(account) == scheme);
    case SCOPE_OTHER:
    case SCOPE_OTHER_CUP_TYPE:
        return owner != scheme;
    case SCOPE_SCHEME:
    case SCOPE_CUP_TYPE:
        return true;
    }
    abort();
}

bool scheme_value(const struct scheme *scheme, int32_t cup_type, struct date day, struct money *value)
{
    /* The last one of the cup type that starts no later than the day. */
    size_t low = 0, high = scheme->value_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        const struct refund_value *at = &scheme->values[middle];
        if (at->cup_type < cup_type || (at->cup_type == cup_type && at->from.days <= day.days))
            low = middle + 1;
        else
            high = middle;
    }
    if (low == 0 || scheme->values[low - 1].cup_type != cup_type)
        return false;
    *value = scheme->values[low - 1].amount;
    return true;
}

const struct terms *scheme_terms(const struct scheme *scheme, struct date day)
{
    const struct terms *found = NULL;
    for (size_t i = 0; i < scheme->terms_count && scheme->terms[i].from.days <= day.days; i++)
        found = &scheme->terms[i];
    return found;
}

bool scheme_pays_on(const struct scheme *scheme, struct date day)
{
    return pay_days_include(scheme_terms(scheme, day)->pay_days, day);
}

struct date scheme_unpaid_from(const struct scheme *scheme, struct date day)
{
    struct date first = scheme->terms[0].from;
    while (day.days > first.days && !scheme_pays_on(scheme, (struct date){day.days - 1}))
        day.days--;
    return day;
}

static int compare_pair(const struct agreement *agreement, int32_t home, int32_t host)
{
    if (agreement->home != home)
        return agreement->home < home ? -1 : 1;
    return (agreement->host > host) - (agreement->host < host);
}

const struct agreement *network_agreement(const struct network *network, int32_t home, int32_t host,
                                          struct date day)
{
    /* The last one of the pair that starts no later than the day. */
    size_t low = 0, high = network->agreement_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        const struct agreement *at = &network->agreements[middle];
        int order = compare_pair(at, home, host);
        if (order < 0 || (order == 0 && at->from.days <= day.days))
            low = middle + 1;
        else
            high = middle;
    }
    if (low == 0 || compare_pair(&network->agreements[low - 1], home, host) != 0)
        return NULL;
    return &network->agreements[low - 1];
}

bool agreement_value_of(const struct agreement *agreement, int32_t cup_type, struct money *value)
{
    for (size_t i = 0; agreement != NULL && i < agreement->value_count; i++)
        if (agreement->values[i].cup_type == cup_type) {
            *value = agreement->values[i].amount;
            return true;
        }
    return false;
}

bool agreement_in_books(const struct network *network, const struct agreement *agreement, int32_t scheme,
                        struct money agreed, struct money *booked)
{
    int32_t own = agreement->in_host_currency ? agreement->host : agreement->home;
    int32_t other = agreement->in_host_currency ? agreement->home : agreement->host;
    if (scheme == own) {
        *booked = agreed;
        return true;
    }
    return money_exchange(agreed, network->scheme_by_id[own]->currency->decimals, agreement->rate,
                          network->scheme_by_id[other]->currency->decimals, booked);
}

bool participant_tax_registered(const struct participant *participant, struct date day)
{
    bool registered = participant->tax_registered;
    for (size_t i = 0; i < participant->registration_count; i++)
        if (participant->registrations[i].from.days <= day.days)
            registered = participant->registrations[i].registered;
    return registered;
}

enum site_kind site_kind_on(const struct site *site, struct date day)
{
    enum site_kind kind = site->kind;
    for (size_t i = 0; i < site->kind_count; i++)
        if (site->kinds[i].from.days <= day.days)
            kind = site->kinds[i].kind;
    return kind;
}

const struct business_day *calendar_day_of(const struct calendar *calendar, struct instant instant)
{
    /* The last day that starts no later than the instant: a day without length is passed over. */
    size_t low = 0, high = calendar->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (calendar->days[middle].starts_at.us <= instant.us)
            low = middle + 1;
        else
            high = middle;
    }
    if (low == 0 || instant.us >= calendar->days[low - 1].ends_at.us)
        return NULL;
    return &calendar->days[low - 1];
}

const struct business_day *calendar_day(const struct calendar *calendar, struct date date)
{
    if (calendar->count == 0 || date.days < calendar->days[0].date.days ||
        date.days > calendar->days[calendar->count - 1].date.days)
        return NULL;
    return &calendar->days[date.days - calendar->days[0].date.days];
}

const struct business_day *calendar_posting_day(const struct calendar *calendar,
                                                const struct business_day *occurrence)
{
    const struct business_day *end = calendar->days + calendar->count;
    if (occurrence->state == DAY_OPEN)
        return occurrence;
    /* Days close in order: the first open day after a closed one is the earliest open day. */
    for (const struct business_day *day = occurrence; day < end; day++)
        if (day->state == DAY_OPEN)
            return day;
    return NULL;
}
