/* SPDX-License-Identifier: ISC */
/* The agreement of the day of occurrence says what the home owes for each cup. The exact amount stays with
 * the entry. The scheme with the other currency converts it once for each event and home. */
#include "app/posting/record_home.h"

#include "app/posting/post_facts.h"
#include "app/posting/record_bearer.h"

#include <stdio.h>
#include <string.h>

enum { POINTER_MAX = 64 };

static bool names_own_home(const struct scheme *scheme, const struct cup_lines *returned)
{
    for (size_t i = 0; i < returned->count; i++)
        if (strcmp(returned->lines[i].home, scheme->code) == 0)
            return true;
    return false;
}

enum store_result record_drop_own_home(const struct scheme_ledger *scheme_ledger,
                                       struct submission *submission)
{
    const struct ledger *ledger = &scheme_ledger->ledger;
    const struct event *stated = submission->event;
    if (!names_own_home(ledger->scheme, &stated->returned))
        return STORE_OK;
    struct event *event = arena_alloc(ledger->arena, sizeof *event);
    struct cup_line *lines = arena_array(ledger->arena, stated->returned.count, sizeof *lines);
    if (event == NULL || lines == NULL)
        return STORE_FAILED;
    *event = *stated;
    event->returned.lines = lines;
    for (size_t i = 0; i < stated->returned.count; i++) {
        lines[i] = stated->returned.lines[i];
        if (strcmp(lines[i].home, ledger->scheme->code) == 0)
            lines[i].home[0] = '\0';
    }
    submission->event = event;
    return record_write_anew(event, ledger->arena);
}

/* Refuses a line that is the same as one before it only now that its own scheme is no home. */
static void check_repeated(struct recording *recording)
{
    char pointer[POINTER_MAX];
    const struct cup_lines *returned = &recording->event->returned;
    for (size_t i = 1; i < returned->count; i++)
        for (size_t before = 0; before < i; before++) {
            const struct cup_line *a = &returned->lines[before], *b = &returned->lines[i];
            if (a->damaged != b->damaged || strcmp(a->cup_type, b->cup_type) != 0 ||
                strcmp(a->home, b->home) != 0)
                continue;
            snprintf(pointer, sizeof pointer, "/returned/%zu/cup_type", i);
            faults_add(recording->faults, REASON_CUP_TYPE_REPEATED, pointer, "stands in the list already");
            break;
        }
}

bool record_begin_homes(struct recording *recording)
{
    check_repeated(recording);
    recording->agreed = arena_array(recording->ledger->arena, recording->event->returned.count + 1,
                                    sizeof *recording->agreed);
    return recording->agreed != NULL;
}

/* The amounts for a home, at their place in the order of the homes. */
static struct agreed *agreed_of(struct recording *recording, const struct agreement *agreement)
{
    size_t at = 0;
    while (at < recording->agreed_count && recording->agreed[at].home < agreement->home)
        at++;
    struct agreed *agreed = &recording->agreed[at];
    if (at < recording->agreed_count && agreed->home == agreement->home)
        return agreed;
    memmove(agreed + 1, agreed, (recording->agreed_count - at) * sizeof *agreed);
    recording->agreed_count++;
    *agreed = (struct agreed){.home = agreement->home,
                              .host = agreement->host,
                              .in_host_currency = agreement->in_host_currency,
                              .rate_e12 = agreement->rate.e12};
    return agreed;
}

/* An unknown scheme is refused like one with which nothing is agreed: a till may not know which there are. */
bool record_find_home(struct recording *recording, const struct cup_line *cups, size_t index, int32_t *home)
{
    char pointer[POINTER_MAX];
    const struct network *network = recording->ledger->network;
    const struct scheme *scheme = network_scheme(network, cups->home);
    const struct agreement *agreement =
        scheme != NULL ? network_agreement(network, scheme->id, recording->ledger->scheme->id,
                                           recording->occurrence->date)
                       : NULL;
    struct money each, amount;
    snprintf(pointer, sizeof pointer, "/returned/%zu/home", index);
    if (!agreement_value_of(agreement, network_cup_type(network, cups->cup_type)->id, &each)) {
        faults_add(recording->faults, REASON_NOT_AGREED, pointer,
                   "nothing was agreed with such a scheme for the cup type on that day");
        return false;
    }
    struct agreed *agreed = agreed_of(recording, agreement);
    *home = scheme->id;
    if (money_times(each, cups->quantity, &amount) && money_add(agreed->exact, amount, &agreed->exact))
        return true;
    faults_add(recording->faults, REASON_OUT_OF_RANGE, pointer, "the agreed amount is too large");
    return false;
}

/* Refuses cups that their home could not follow: it had not begun, or has no value for them on the day to
 * which it would post them. */
static enum store_result check_home(struct recording *recording, const struct scheme *home)
{
    char pointer[POINTER_MAX];
    struct date day;
    bool begun;
    struct money value;
    const struct event *event = recording->event;
    enum store_result result =
        store_posting_day(recording->ledger->pg, home->id, event->occurred_at, &day, &begun);
    for (size_t i = 0; i < event->returned.count && result == STORE_OK; i++) {
        const struct cup_line *cups = &event->returned.lines[i];
        if (strcmp(cups->home, home->code) != 0)
            continue;
        snprintf(pointer, sizeof pointer, "/returned/%zu/home", i);
        if (!begun)
            faults_add(recording->faults, REASON_BEFORE_FIRST_DAY, pointer,
                       "before the first business day of the scheme whose deposit the cups carry");
        else if (!scheme_value(home, network_cup_type(recording->ledger->network, cups->cup_type)->id, day,
                               &value))
            faults_add(recording->faults, REASON_NO_REFUND_VALUE, pointer,
                       "the cup type has no refund value in that scheme on the day to which it would post");
    }
    return result;
}

static bool moves_between_schemes(const struct referred *referred)
{
    for (size_t i = 0; i < referred->leg_count; i++)
        if (account_kind_of(referred->legs[i].account) == ACCOUNT_VISITING)
            return true;
    return false;
}

static enum store_result take_back(struct recording *recording)
{
    const struct ledger *ledger = recording->ledger;
    if (!recording->referred.found || !moves_between_schemes(&recording->referred))
        return STORE_OK;
    enum store_result result =
        store_agreed_of(ledger->pg, ledger->arena, ledger->scheme->id, recording->referred.entry,
                        &recording->agreed, &recording->agreed_count);
    for (size_t i = 0; i < recording->agreed_count && result == STORE_OK; i++)
        recording->agreed[i].exact.minor = -recording->agreed[i].exact.minor;
    return result;
}

enum store_result record_find_agreed(struct recording *recording)
{
    const struct network *network = recording->ledger->network;
    enum store_result result = STORE_OK;
    if (recording->event->kind == KIND_REVERSAL)
        return take_back(recording);
    for (size_t i = 0; i < recording->agreed_count && result == STORE_OK; i++) {
        result = check_home(recording, network->scheme_by_id[recording->agreed[i].home]);
        if (!post_book_agreed(recording->ledger, &recording->agreed[i]))
            faults_add(recording->faults, REASON_OUT_OF_RANGE, "/returned", "the agreed amount is too large");
    }
    return result;
}
