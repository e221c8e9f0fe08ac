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
