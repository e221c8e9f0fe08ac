/* SPDX-License-Identifier: ISC */
/* All turns stand in an array under a single lock. A thread copies the turn that it takes, because the array
 * is replaced after each look. Two threads never have turns of one scheme at a time. */
#include "app/closing/close_crew.h"

#include "app/closing/close.h"
#include "base/clock.h"
#include "base/log.h"
#include "base/memory.h"

#include <pthread.h>
#include <stdlib.h>
#include <time.h>

enum {
    AGAIN_MS = 1000, /* from a turn that did not succeed to the scheme's next one */
    IDLE_S = 5       /* without work, after which a thread gives its connection back */
};

enum turn_state { TURN_WAITS, TURN_RUNS, TURN_ENDED };

struct turn {
    int32_t scheme;
    enum turn_state state;
    bool extend, close;
    struct date date;
    struct instant due_at;
    int turns_before;      /* since the scheme fell behind */
    int64_t not_before_ms; /* 0: at once */
    uint64_t ended_in;     /* if it has ended: the look that was the last to begin by then */
};

struct member {
    struct close_crew *crew;
    struct pg *pg;
    pthread_t thread;
};

struct close_crew {
    pthread_mutex_t lock;
    pthread_cond_t wake; /* turns were offered, or the crew stops */
    /* under the lock */
    bool stopping;
    uint64_t look; /* the number of the last look that began */
    struct turn *turns;
    size_t turn_count;
    /* fixed */
    bool closes; /* a setting; false: only calendars are extended */
    struct snapshot_cache *snapshots;
    struct close_crew_owner owner;
    size_t member_count; /* threads that were started */
    struct member members[];
};

/* --- turns: the caller holds the lock --------------------------------------------------------------------
 */

static struct turn *turn_of(const struct close_crew *crew, int32_t scheme)
{
    for (size_t i = 0; i < crew->turn_count; i++)
        if (crew->turns[i].scheme == scheme)
            return &crew->turns[i];
    return NULL;
}

static bool goes_before(const struct turn *one, const struct turn *other)
{
    if (one->turns_before != other->turns_before)
        return one->turns_before < other->turns_before;
    return one->due_at.us < other->due_at.us;
}

static struct turn *next_turn(const struct close_crew *crew)
{
    struct turn *next = NULL;
    int64_t now_ms = clock_monotonic_ms();
    for (size_t i = 0; i < crew->turn_count; i++) {
        struct turn *turn = &crew->turns[i];
        if (turn->state == TURN_WAITS && turn->not_before_ms <= now_ms &&
            (next == NULL || goes_before(turn, next)))
            next = turn;
    }
    return next;
}

/* --- a thread --------------------------------------------------------------------------------------------
 */

static void wait_for_turns(struct member *member)
{
    struct close_crew *crew = member->crew;
    struct timespec until;
    clock_gettime(CLOCK_MONOTONIC, &until);
    until.tv_sec += IDLE_S;
    if (pthread_cond_clockwait(&crew->wake, &crew->lock, CLOCK_MONOTONIC, &until) != 0)
        pg_disconnect(member->pg);
}

/* Blocks until there is a turn. False: the crew stops. */
static bool take(struct member *member, struct turn *taken)
{
    struct close_crew *crew = member->crew;
    struct turn *turn = NULL;
    pthread_mutex_lock(&crew->lock);
    while (!crew->stopping && (turn = next_turn(crew)) == NULL)
        wait_for_turns(member);
    if (turn != NULL) {
        turn->state = TURN_RUNS;
        *taken = *turn;
    }
    pthread_mutex_unlock(&crew->lock);
    return turn != NULL;
}

static void end_turn(struct close_crew *crew, const struct turn *taken, bool done)
{
    pthread_mutex_lock(&crew->lock);
    struct turn *turn = turn_of(crew, taken->scheme);
    turn->state = TURN_ENDED;
    turn->ended_in = crew->look;
    turn->turns_before++;
    turn->not_before_ms = done ? 0 : clock_monotonic_ms() + AGAIN_MS;
    bool look_again = done && taken->close && next_turn(crew) == NULL;
    pthread_mutex_unlock(&crew->lock);
    if (look_again)
        crew->owner.look_again(crew->owner.context);
}

/* Another instance may have made the scheme, and the database may be gone before the snapshot was renewed:
 * then the snapshot does not know the scheme, and nothing is said of it. */
static void report(const struct close_crew *crew, const struct turn *turn, enum store_result result)
{
    char date[DATE_TEXT_MAX];
    const struct snapshot *snapshot = snapshot_hold(crew->snapshots);
    date_format(turn->date, date);
    if (snapshot != NULL && turn->scheme < snapshot->network.scheme_ids)
        log_write(result == STORE_OK ? LOG_INFO : LOG_ERROR,
                  result == STORE_OK ? "day closed" : "day not closed", "scheme",
                  snapshot->network.scheme_by_id[turn->scheme]->code, "date", date, NULL);
    snapshot_release(snapshot);
}

/* STORE_LOCKED is no failure: somebody else closes the day. */
static bool close_one(struct member *member, const struct turn *turn)
{
    const struct close_order order = {.scheme = turn->scheme, .date = turn->date, .leaves_others = true};
    struct arena arena;
    struct faults faults;
    arena_init(&arena, 0);
    faults_init(&faults, &arena);
    enum store_result result = close_day(member->pg, member->crew->snapshots, &order, &faults);
    bool refused = faults.count > 0;
    if (!refused && result != STORE_LOCKED)
        report(member->crew, turn, result);
    arena_dispose(&arena);
    return result == STORE_OK && !refused;
}

static bool do_turn(struct member *member, const struct turn *turn)
{
    memory_forget_failures();
    pg_notice_closed(member->pg);
    if (turn->extend && close_extend_calendar(member->pg, member->crew->snapshots, turn->scheme) != STORE_OK)
        return false;
    return !turn->close || close_one(member, turn);
}

static void *work(void *argument)
{
    struct member *member = argument;
    struct turn turn;
    while (take(member, &turn))
        end_turn(member->crew, &turn, do_turn(member, &turn));
    return NULL;
}

/* --- the clock's side ------------------------------------------------------------------------------------
 */

void close_crew_begin_look(struct close_crew *crew)
{
    pthread_mutex_lock(&crew->lock);
    crew->look++;
    pthread_mutex_unlock(&crew->lock);
}

/* A turn that is under way, or has ended after the look began, is still as it was. */
static bool stays(const struct close_crew *crew, const struct turn *turn)
{
    return turn->state == TURN_RUNS || (turn->state == TURN_ENDED && turn->ended_in == crew->look);
}

static struct turn turn_for(const struct close_crew *crew, const struct close_work *work)
{
    const struct turn *before = turn_of(crew, work->scheme);
    return (struct turn){
        .scheme = work->scheme,
        .state = TURN_WAITS,
        .extend = work->extend,
        .close = work->due && crew->closes,
        .date = work->date,
        .due_at = work->due_at,
        .turns_before = before != NULL ? before->turns_before : 0,
        .not_before_ms = before != NULL ? before->not_before_ms : 0,
    };
}

static void replace(struct close_crew *crew, struct turn *turns, const struct close_work *work, size_t count)
{
    size_t kept = 0;
    for (size_t i = 0; i < crew->turn_count; i++)
        if (stays(crew, &crew->turns[i]))
            turns[kept++] = crew->turns[i];
    for (size_t i = 0; i < count; i++) {
        const struct turn *before = turn_of(crew, work[i].scheme);
        bool wanted = work[i].extend || (work[i].due && crew->closes);
        if (wanted && (before == NULL || !stays(crew, before)))
            turns[kept++] = turn_for(crew, &work[i]);
    }
    free(crew->turns);
    crew->turns = turns;
    crew->turn_count = kept;
}

/* Without memory the crew goes on with what was offered before. */
void close_crew_offer(struct close_crew *crew, const struct close_work *work, size_t count)
{
    pthread_mutex_lock(&crew->lock);
    struct turn *turns = calloc(crew->turn_count + count + 1, sizeof *turns);
    if (turns != NULL) {
        replace(crew, turns, work, count);
        if (next_turn(crew) != NULL)
            pthread_cond_broadcast(&crew->wake);
    }
    pthread_mutex_unlock(&crew->lock);
}

bool close_crew_is_behind(struct close_crew *crew)
{
    bool behind = false;
    pthread_mutex_lock(&crew->lock);
    for (size_t i = 0; i < crew->turn_count && !behind; i++)
        behind =
            crew->turns[i].state == TURN_WAITS && crew->turns[i].close && crew->turns[i].not_before_ms == 0;
    pthread_mutex_unlock(&crew->lock);
    return behind;
}

/* --- start and stop --------------------------------------------------------------------------------------
 */

static bool start_member(struct member *member, const struct config *config, const struct pg_stop *stop)
{
    const struct pg_bounds bounds = {.statement_ms = config->long_deadline_s * 1000, .stop = stop};
    member->pg = pg_new(config->dsn, &bounds);
    if (member->pg == NULL)
        return false;
    if (pthread_create(&member->thread, NULL, work, member) == 0)
        return true;
    pg_free(member->pg);
    return false;
}

struct close_crew *close_crew_start(const struct config *config, struct snapshot_cache *snapshots,
                                    const struct pg_stop *stop, struct close_crew_owner owner)
{
    size_t members = (size_t)config->closers;
    struct close_crew *crew = calloc(1, sizeof *crew + members * sizeof crew->members[0]);
    if (crew == NULL)
        return NULL;
    pthread_mutex_init(&crew->lock, NULL);
    pthread_cond_init(&crew->wake, NULL);
    crew->closes = config->close_by_clock;
    crew->snapshots = snapshots;
    crew->owner = owner;
    for (; crew->member_count < members; crew->member_count++) {
        struct member *member = &crew->members[crew->member_count];
        member->crew = crew;
        if (!start_member(member, config, stop)) {
            close_crew_stop(crew);
            return NULL;
        }
    }
    return crew;
}

void close_crew_halt(struct close_crew *crew)
{
    pthread_mutex_lock(&crew->lock);
    crew->stopping = true;
    pthread_cond_broadcast(&crew->wake);
    pthread_mutex_unlock(&crew->lock);
}

void close_crew_stop(struct close_crew *crew)
{
    if (crew == NULL)
        return;
    close_crew_halt(crew);
    for (size_t i = 0; i < crew->member_count; i++) {
        pthread_join(crew->members[i].thread, NULL);
        pg_free(crew->members[i].pg);
    }
    free(crew->turns);
    pthread_cond_destroy(&crew->wake);
    pthread_mutex_destroy(&crew->lock);
    free(crew);
}
