/* SPDX-License-Identifier: ISC */
/* Walks through the events of jobs, and remembers which ones of the job at hand wait. */
#include "app/posting/waiting.h"

#include <string.h>

bool waiting_init(struct waiting *waiting, struct arena *arena, const struct network *network,
                  size_t events_max)
{
    size_t schemes = (size_t)network->scheme_ids;
    *waiting = (struct waiting){.network = network};
    waiting->jobs = arena_array(arena, schemes + 1, sizeof *waiting->jobs);
    waiting->list = arena_array(arena, events_max + 1, sizeof *waiting->list);
    return waiting->jobs != NULL && waiting->list != NULL;
}

void waiting_begin(struct waiting *waiting)
{
    waiting->job = NULL;
}

void waiting_add(struct waiting *waiting, const struct submission *submission)
{
    submission->result->parked = true;
    waiting->jobs[submission->scheme->id] = waiting->number;
    waiting->list[waiting->count++] = (struct waiting_event){submission->scheme->id, submission->event->id};
}

/* Whether the dispatch of another scheme that the event names waits. */
static bool names_waiting_dispatch(const struct waiting *waiting, const struct event *event)
{
    const struct scheme *host = *event->host != '\0' ? network_scheme(waiting->network, event->host) : NULL;
    if (host == NULL || waiting->jobs[host->id] != waiting->number)
        return false;
    for (size_t i = 0; i < waiting->count; i++)
        if (waiting->list[i].scheme == host->id &&
            memcmp(&waiting->list[i].id, &event->refers, sizeof event->refers) == 0)
            return true;
    return false;
}

bool waiting_meets(struct waiting *waiting, const struct submission *submission, bool held)
{
    if (submission->arena != waiting->job) {
        waiting->job = submission->arena;
        waiting->number++;
        waiting->count = 0;
    }
    if (held || waiting->jobs[submission->scheme->id] == waiting->number ||
        names_waiting_dispatch(waiting, submission->event))
        waiting_add(waiting, submission);
    return submission->result->parked;
}
