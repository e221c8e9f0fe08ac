/* SPDX-License-Identifier: ISC */
/* The table of kinds as data; the words for kinds, tenders and bearers. */
#include "depositd/event.h"

#include <assert.h>
#include <string.h>

struct kind_row {
    const char *word;
    uint32_t posters;
    enum kind_activity activity;
    enum kind_refers refers;
    enum kind_effect effect;
    uint32_t posters_after_end;
    enum kind_undo undo;
};

static const struct kind_row kinds[KIND_LIMIT] = {
    [KIND_NONE] = {NULL, BY_NOBODY, ACTIVITY_OTHER, REFERS_NOTHING, EFFECT_NOTHING, BY_NOBODY, UNDO_NEVER},
#define X(name, word, number, posters, activity, place, refers, effect, after_end, undone)                   \
    [number] = {#word,           posters,   ACTIVITY_##activity, REFERS_##refers,                            \
                EFFECT_##effect, after_end, UNDO_##undone},
    ENTRY_KIND_TABLE(X)
#undef X
};

#define X(name, word, number, posters, activity, place, refers, effect, after_end, undone)                   \
    static_assert((posters) != BY_NOBODY && PLACE_##place != PLACE_NOT_STATED,                               \
                  "clients can't post " #word ", so it belongs to SERVICE_KIND_TABLE");                      \
    static_assert(((after_end) & ~(posters)) == 0, "the end of a scheme lets nobody else post " #word);
EVENT_KIND_TABLE(X)
#undef X
#define X(name, word, number, posters, activity, place, refers, effect, after_end, undone)                   \
    static_assert((posters) == BY_NOBODY && PLACE_##place == PLACE_NOT_STATED,                               \
                  "clients post " #word ", so it belongs to EVENT_KIND_TABLE");
SERVICE_KIND_TABLE(X)
#undef X

static const char *const tender_words[] = {[TENDER_NONE] = NULL,
#define X(name, word) [TENDER_##name] = #word,
                                           TENDER_TABLE(X)
#undef X
};
static const char *const bearer_words[] = {[BEARER_NONE] = NULL,
#define X(name, word) [BEARER_##name] = #word,
                                           BEARER_TABLE(X)
#undef X
};

static const char *const cup_place_words[] = {[PLACE_AT_SITE] = NULL,
#define X(name, word) [PLACE_##name] = #word,
                                              CUP_PLACE_TABLE(X)
#undef X
};

const char *entry_kind_word(enum entry_kind kind)
{
    return (unsigned)kind < KIND_LIMIT ? kinds[kind].word : NULL;
}

static const struct kind_row *row_of(enum entry_kind kind)
{
    assert((unsigned)kind < KIND_LIMIT && (kind == KIND_NONE || kinds[kind].word != NULL));
    return &kinds[kind];
}

uint32_t entry_kind_posters(enum entry_kind kind)
{
    return row_of(kind)->posters;
}

uint32_t entry_kind_posters_after_end(enum entry_kind kind)
{
    return row_of(kind)->posters_after_end;
}

bool entry_kind_is_event(enum entry_kind kind)
{
    return entry_kind_posters(kind) != BY_NOBODY;
}

enum kind_activity entry_kind_activity(enum entry_kind kind)
{
    return row_of(kind)->activity;
}

enum kind_refers entry_kind_refers(enum entry_kind kind)
{
    return row_of(kind)->refers;
}

enum kind_effect entry_kind_effect(enum entry_kind kind)
{
    return row_of(kind)->effect;
}

enum kind_undo entry_kind_undo(enum entry_kind kind)
{
    return row_of(kind)->undo;
}

enum entry_kind entry_kind_parse(const char *word)
{
    for (enum entry_kind kind = KIND_NONE; kind < KIND_LIMIT; kind++)
        if (kinds[kind].word != NULL && strcmp(kinds[kind].word, word) == 0)
            return kind;
    return KIND_NONE;
}

const char *cup_place_word(enum cup_place place)
{
    return cup_place_words[place];
}

const char *tender_word(enum tender tender)
{
    return tender_words[tender];
}

const char *bearer_word(enum bearer bearer)
{
    return bearer_words[bearer];
}
