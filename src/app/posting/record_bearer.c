/* SPDX-License-Identifier: ISC */
/* A decided event is a copy with the bearer, its own canonical text and its own digest. */
#include "app/posting/record_bearer.h"

#include "app/posting/canonical.h"
#include "app/posting/record_refer.h"
#include "store/shipment_store.h"

#include <string.h>

enum { EVENT_BYTES_MAX = 16 << 20 };

static bool is_open(const struct event *event)
{
    return event->kind == KIND_TRANSIT_LOSS && event->bearer == BEARER_NONE;
}

enum store_result record_write_anew(struct event *event, struct arena *arena)
{
    struct buffer text;
    buffer_init(&text, EVENT_BYTES_MAX);
    canonical_event(event, &text);
    event->text = text.failed ? NULL : arena_copy(arena, text.data, text.length);
    event->text_length = text.length;
    buffer_dispose(&text);
    if (event->text == NULL)
        return STORE_FAILED;
    sha256_of(event->text, event->text_length, &event->digest);
    return STORE_OK;
}

/* Makes `decided` of the event. The text is in the arena. */
static enum store_result decide(const struct event *event, enum bearer bearer, struct arena *arena,
                                struct event *decided)
{
    *decided = *event;
    decided->bearer = bearer;
    return record_write_anew(decided, arena);
}

/* The bearer that was agreed for the shipment of the dispatch, or else the scheme's. Of cups that come home
 * only the home decides, whatever people of the host wrote into their request. */
static enum store_result find_bearer(const struct recording *recording, enum bearer *bearer)
{
    const struct ledger *ledger = recording->ledger;
    enum store_result result = STORE_OK;
    *bearer = BEARER_NONE;
    if (!record_is_between(recording))
        result = store_shipment_bearer(ledger->pg, recording->sent_in, recording->referred.dispatch, bearer);
    if (*bearer == BEARER_NONE)
        *bearer = ledger->scheme->loss_bearer;
    return result;
}

/* The sender of cups that come home is a site of the host, which this scheme can charge nothing. */
static void check_bearer(struct recording *recording)
{
    if (recording->event->kind == KIND_TRANSIT_LOSS && record_is_between(recording) &&
        recording->event->bearer == BEARER_SENDER)
        faults_add(recording->faults, REASON_BEARER_IN_OTHER_SCHEME, "/bearer",
                   "the sender is of another scheme: the receiver or the operator bears the loss");
}

static enum store_result decide_bearer(struct recording *recording)
{
    struct arena *arena = recording->ledger->arena;
    enum bearer bearer;
    if (!is_open(recording->event))
        return STORE_OK;
    struct event *decided = arena_alloc(arena, sizeof *decided);
    if (decided == NULL)
        return STORE_FAILED;
    enum store_result result = find_bearer(recording, &bearer);
    if (result != STORE_OK)
        return result;
    result = decide(recording->event, bearer, arena, decided);
    recording->event = decided;
    return result;
}

enum store_result record_decide_bearer(struct recording *recording)
{
    enum store_result result = decide_bearer(recording);
    if (result == STORE_OK)
        check_bearer(recording);
    return result;
}

enum store_result record_bearer_decided(const struct event *event, struct arena *arena,
                                        const uint8_t digest[static SHA256_SIZE / 2], bool *decided)
{
    enum store_result result = STORE_OK;
    struct event with;
    *decided = false;
    if (!is_open(event))
        return STORE_OK;
    for (enum bearer bearer = BEARER_SENDER; bearer <= BEARER_OPERATOR && result == STORE_OK && !*decided;
         bearer++) {
        result = decide(event, bearer, arena, &with);
        *decided = result == STORE_OK && memcmp(with.digest.bytes, digest, SHA256_SIZE / 2) == 0;
    }
    return result;
}
