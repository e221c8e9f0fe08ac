/* SPDX-License-Identifier: ISC */
/* The map from descriptors to connections, the executable's recv, and the thread that watches deadlines.
 *
 * The server's thread owns the connections. The watching thread reads their deadlines only. To end a request
 * it sets `late` and shuts the socket for reading, which wakes poll(2) on the server's thread. */
#include "http/server/wire.h"

#include "base/clock.h"
#include "http/server/callers.h"
#include "http/server/framing.h"
#include "http/server/linger.h"

#include <dlfcn.h>
#include <errno.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/resource.h>

enum {
    DESCRIPTORS_MAX = 1 << 20,
    TICK_MS = 250,
    RESERVED_MS = 2000, /* until a reserved connection's head is complete */
};

struct wire_connection {
    struct wire *wire;
    int fd;
    bool reserved;
    struct caller *caller;
    struct framing framing;
    char *held; /* bytes of an incomplete element */
    size_t held_length;
    uint64_t ended;                   /* requests that were answered or given up */
    uint64_t begun;                   /* requests that the handler has begun */
    uint64_t message;                 /* number of the head or body that the deadline is for; 0: none */
    int64_t message_ms;               /* when that message began */
    uint64_t received;                /* bytes of it, not counting the first piece */
    atomic_int_least64_t deadline_ms; /* 0: none */
    atomic_int_least64_t waited_ms;   /* for which bytes of that message waited for the service */
    atomic_bool late;
};

struct wire {
    const struct config *config;
    struct callers *callers;
    struct caller *arriving; /* accepted, but not yet a connection; NULL: none */
    bool arriving_reserved;
    pthread_t watcher;
    pthread_mutex_t lock; /* protects the members below, and the map while it is changed or walked through */
    pthread_cond_t ends;
    bool ending;
    struct lingering lingering;
    int highest;       /* the highest descriptor that was ever in the map */
    int64_t looked_ms; /* when the watcher last looked */
};

typedef struct wire_connection *_Atomic slot;
static slot *_Atomic slots;
static atomic_int slot_count;

static struct wire_connection *connection_of(int fd)
{
    slot *all = atomic_load_explicit(&slots, memory_order_acquire);
    return all != NULL && fd >= 0 && fd < atomic_load_explicit(&slot_count, memory_order_relaxed)
               ? atomic_load_explicit(&all[fd], memory_order_acquire)
               : NULL;
}

/* --- reading ------------------------------------------------------------------------------------------- */

typedef ssize_t (*recv_function)(int, void *, size_t, int);

/* The C library's recv, or the one that a sanitizer puts in front of it. */
static ssize_t real_recv(int fd, void *bytes, size_t room, int flags)
{
    static recv_function _Atomic found;
    recv_function next = atomic_load_explicit(&found, memory_order_relaxed);
    if (next == NULL) {
        void *symbol = dlsym(RTLD_NEXT, "recv");
        if (symbol == NULL)
            abort();
        memcpy(&next, &symbol, sizeof next); /* ISO C has no cast for this, but POSIX allows it */
        atomic_store_explicit(&found, next, memory_order_relaxed);
    }
    return next(fd, bytes, room, flags);
}

static ssize_t come_again(void)
{
    errno = EAGAIN;
    return -1;
}

static ssize_t give_up(void)
{
    errno = ECONNRESET;
    return -1;
}

/* Sets, moves or ends the deadline after `got` bytes. A body must arrive within body_timeout_s, plus a second
 * for each body_rate bytes of it. */
static void set_deadline(struct wire_connection *connection, size_t got)
{
    const struct config *config = connection->wire->config;
    const struct framing *framing = &connection->framing;
    bool in_head = framing->state == FRAMING_HEAD;
    if (!framing_is_within(framing, connection->held_length)) {
        if (connection->message != 0)
            atomic_store_explicit(&connection->deadline_ms, 0, memory_order_relaxed);
        connection->message = 0;
        return;
    }
    uint64_t message = (framing->requests + 1) * 2 + !in_head;
    if (message == connection->message) {
        connection->received += got;
    } else {
        connection->message = message;
        connection->message_ms = clock_monotonic_ms();
        connection->received = 0;
        atomic_store_explicit(&connection->waited_ms, 0, memory_order_relaxed);
    }
    int64_t most_ms = connection->reserved ? RESERVED_MS
                      : in_head            ? config->head_timeout_s * INT64_C(1000)
                                           : config->body_timeout_s * INT64_C(1000) +
                                      (int64_t)(connection->received * 1000 / (uint64_t)config->body_rate);
    atomic_store_explicit(&connection->deadline_ms, connection->message_ms + most_ms, memory_order_relaxed);
}

/* Keeps the bytes that the next call begins with. False: out of memory, and nothing is kept. */
static bool keep(struct wire_connection *connection, const char *bytes, size_t length)
{
    connection->held_length = length;
    if (length == 0) {
        free(connection->held);
        connection->held = NULL;
        return true;
    }
    char *held = realloc(connection->held, length);
    if (held == NULL) {
        connection->held_length = 0;
        return false;
    }
    memcpy(held, bytes, length);
    connection->held = held;
    return true;
}

/* Whether a complete request still waits for its answer. */
static bool is_owed_an_answer(const struct wire_connection *connection)
{
    const struct framing *framing = &connection->framing;
    bool in_body = framing->state != FRAMING_HEAD && framing->state != FRAMING_OVER;
    return connection->ended + in_body < framing->requests;
}

/* A client may end its side of the connection after its last request. If another thread made the answer,
 * libmicrohttpd reads again before it sends that, and would take this end for the client's leaving. So it
 * learns of the end only when it has sent all answers. */
static ssize_t read_socket(struct wire_connection *connection, char *bytes, size_t room, int flags)
{
    ssize_t got = real_recv(connection->fd, bytes, room, flags);
    return got == 0 && is_owed_an_answer(connection) ? come_again() : got;
}

/* Gives the next bytes of the stand-in. When that is complete, reads and drops the bytes that arrive. */
static ssize_t receive_stand_in(struct wire_connection *connection, char *bytes, size_t room)
{
    bool can;
    size_t length = framing_stand_in(&connection->framing, bytes, room, &can);
    if (!can)
        return give_up();
    if (length > 0)
        return (ssize_t)length;
    ssize_t got = read_socket(connection, bytes, room, 0);
    return got > 0 ? come_again() : got;
}

static ssize_t receive(struct wire_connection *connection, char *bytes, size_t room, int flags)
{
    struct framing *framing = &connection->framing;
    size_t held = connection->held_length;
    if (room <= held + FRAMING_SLACK)
        return come_again(); /* libmicrohttpd makes room by passing on the part of the body that it has */
    if (atomic_load_explicit(&connection->late, memory_order_acquire))
        framing_refuse(framing, REASON_REQUEST_TIMEOUT, "The request came in too slowly.");
    if (framing->reason != REASON_NONE)
        return receive_stand_in(connection, bytes, room);
    ssize_t got = read_socket(connection, bytes + held, room - held - FRAMING_SLACK, flags);
    if (got <= 0)
        return got;
    if (held > 0)
        memcpy(bytes, connection->held, held);
    struct framing_split split = framing_read(framing, bytes, held + (size_t)got);
    if (!keep(connection, bytes + split.pass, split.hold))
        framing_refuse(framing, REASON_OVERLOADED, "There is no memory for a request that comes in pieces.");
    set_deadline(connection, (size_t)got);
    if (framing->reason != REASON_NONE) {
        bool can;
        split.pass += framing_stand_in(framing, bytes + split.pass, FRAMING_SLACK, &can);
    }
    return split.pass > 0 ? (ssize_t)split.pass : come_again();
}

/* Replaces the C library's recv in the whole process: see wire.h. */
ssize_t recv(int fd, void *bytes, size_t room, int flags)
{
    struct wire_connection *connection = connection_of(fd);
    return connection == NULL ? real_recv(fd, bytes, room, flags) : receive(connection, bytes, room, flags);
}

/* --- watching ------------------------------------------------------------------------------------------ */

/* While bytes wait in the socket, the service is slow, not the client. The time since the
 * watcher last looked, `since_ms`, then does not count against the deadline. */
static bool is_late(struct wire_connection *connection, int64_t now_ms, int64_t since_ms)
{
    int64_t deadline_ms = atomic_load_explicit(&connection->deadline_ms, memory_order_relaxed);
    if (deadline_ms == 0 || atomic_load_explicit(&connection->late, memory_order_relaxed))
        return false;
    int waiting = 0;
    if (ioctl(connection->fd, FIONREAD, &waiting) == 0 && waiting > 0) {
        atomic_fetch_add_explicit(&connection->waited_ms, since_ms, memory_order_relaxed);
        return false;
    }
    return now_ms > deadline_ms + atomic_load_explicit(&connection->waited_ms, memory_order_relaxed);
}

/* The caller holds the lock, so no descriptor is closed and reused meanwhile. */
static void look_at_all(struct wire *wire)
{
    int64_t now_ms = clock_monotonic_ms();
    for (int fd = 0; fd <= wire->highest; fd++) {
        struct wire_connection *connection = connection_of(fd);
        if (connection == NULL || !is_late(connection, now_ms, now_ms - wire->looked_ms))
            continue;
        atomic_store_explicit(&connection->late, true, memory_order_release);
        (void)shutdown(fd, SHUT_RD);
    }
    linger_look(&wire->lingering, now_ms);
    wire->looked_ms = now_ms;
}

static void *watch(void *closure)
{
    struct wire *wire = closure;
    pthread_mutex_lock(&wire->lock);
    while (!wire->ending) {
        struct timespec until;
        clock_gettime(CLOCK_MONOTONIC, &until);
        until.tv_nsec += TICK_MS * 1000000L;
        until.tv_sec += until.tv_nsec / 1000000000L;
        until.tv_nsec %= 1000000000L;
        (void)pthread_cond_clockwait(&wire->ends, &wire->lock, CLOCK_MONOTONIC, &until);
        look_at_all(wire);
    }
    pthread_mutex_unlock(&wire->lock);
    return NULL;
}

/* --- connections --------------------------------------------------------------------------------------- */

/* Called when libmicrohttpd accepted a connection, and then had no memory for it. */
static void forget_arriving(struct wire *wire)
{
    if (wire->arriving != NULL)
        callers_leave(wire->callers, wire->arriving, wire->arriving_reserved);
    wire->arriving = NULL;
}

enum MHD_Result wire_accept(void *closure, const struct sockaddr *address, socklen_t length)
{
    struct wire *wire = closure;
    (void)length;
    forget_arriving(wire);
    wire->arriving = callers_enter(wire->callers, address, &wire->arriving_reserved);
    return wire->arriving != NULL ? MHD_YES : MHD_NO;
}

static void set_slot(struct wire *wire, int fd, struct wire_connection *connection)
{
    slot *all = atomic_load_explicit(&slots, memory_order_relaxed);
    pthread_mutex_lock(&wire->lock);
    atomic_store_explicit(&all[fd], connection, memory_order_release);
    if (fd > wire->highest)
        wire->highest = fd;
    pthread_mutex_unlock(&wire->lock);
}

/* The deadline of a reserved connection counts from its beginning. */
static struct wire_connection *begin(struct wire *wire, int fd)
{
    struct wire_connection *connection = calloc(1, sizeof *connection);
    if (connection == NULL || wire->arriving == NULL || fd >= atomic_load(&slot_count)) {
        free(connection);
        return NULL;
    }
    framing_init(&connection->framing);
    connection->wire = wire;
    connection->fd = fd;
    connection->caller = wire->arriving;
    connection->reserved = wire->arriving_reserved;
    wire->arriving = NULL;
    if (connection->reserved) {
        connection->message = 2;
        connection->message_ms = clock_monotonic_ms();
        atomic_store(&connection->deadline_ms, connection->message_ms + RESERVED_MS);
    }
    set_slot(wire, fd, connection);
    return connection;
}

/* Whether bytes of a request may still arrive after its answer. */
static bool has_leftovers(const struct wire_connection *connection)
{
    return connection->framing.reason != REASON_NONE ||
           framing_is_within(&connection->framing, connection->held_length);
}

static void end(struct wire_connection *connection)
{
    struct wire *wire = connection->wire;
    set_slot(wire, connection->fd, NULL);
    if (has_leftovers(connection)) {
        pthread_mutex_lock(&wire->lock);
        linger_begin(&wire->lingering, connection->fd, clock_monotonic_ms());
        pthread_mutex_unlock(&wire->lock);
    }
    callers_leave(wire->callers, connection->caller, connection->reserved);
    free(connection->held);
    free(connection);
}

void wire_notify(void *closure, struct MHD_Connection *connection, void **context,
                 enum MHD_ConnectionNotificationCode code)
{
    if (code == MHD_CONNECTION_NOTIFY_STARTED) {
        const union MHD_ConnectionInfo *info =
            MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
        *context = info != NULL ? begin(closure, info->connect_fd) : NULL;
    } else if (*context != NULL) {
        end(*context);
        *context = NULL;
    }
}

static struct wire_connection *wire_of(struct MHD_Connection *connection)
{
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
    return info != NULL ? info->socket_context : NULL;
}

bool wire_is_watched(struct MHD_Connection *connection)
{
    return wire_of(connection) != NULL;
}

struct wire_connection *wire_begin_request(struct MHD_Connection *connection)
{
    struct wire_connection *wire_connection = wire_of(connection);
    if (wire_connection == NULL || wire_connection->begun == wire_connection->framing.requests)
        return NULL;
    wire_connection->begun++;
    return wire_connection;
}

void wire_end_request(struct MHD_Connection *connection)
{
    struct wire_connection *wire_connection = wire_of(connection);
    if (wire_connection != NULL)
        wire_connection->ended = wire_connection->begun;
}

bool wire_is_reserved(const struct wire_connection *connection)
{
    return connection->reserved;
}

enum reason wire_refusal(const struct wire_connection *connection, const char **detail)
{
    const struct framing *framing = &connection->framing;
    *detail = framing->detail;
    return connection->begun == framing->requests ? framing->reason : REASON_NONE;
}

/* --- start and stop ------------------------------------------------------------------------------------ */

/* A slot for each descriptor that the process may open. Never freed, because other threads may be in recv. */
static bool make_slots(void)
{
    if (atomic_load(&slots) != NULL)
        return true;
    struct rlimit limit;
    int count = DESCRIPTORS_MAX;
    if (getrlimit(RLIMIT_NOFILE, &limit) == 0 && limit.rlim_cur < DESCRIPTORS_MAX)
        count = (int)limit.rlim_cur;
    slot *all = calloc((size_t)count, sizeof *all);
    if (all == NULL)
        return false;
    atomic_store(&slot_count, count);
    atomic_store_explicit(&slots, all, memory_order_release);
    return true;
}

struct wire *wire_start(const struct config *config)
{
    struct wire *wire = calloc(1, sizeof *wire);
    if (wire == NULL)
        return NULL;
    wire->config = config;
    wire->looked_ms = clock_monotonic_ms();
    pthread_mutex_init(&wire->lock, NULL);
    pthread_cond_init(&wire->ends, NULL);
    wire->callers = callers_new(config->max_connections, config->max_connections_per_address);
    if (wire->callers != NULL && make_slots() && pthread_create(&wire->watcher, NULL, watch, wire) == 0)
        return wire;
    wire->ending = true; /* there is no watcher to wait for */
    wire_stop(wire);
    return NULL;
}

void wire_stop(struct wire *wire)
{
    if (wire == NULL)
        return;
    pthread_mutex_lock(&wire->lock);
    bool watched = !wire->ending;
    wire->ending = true;
    pthread_cond_signal(&wire->ends);
    pthread_mutex_unlock(&wire->lock);
    if (watched)
        pthread_join(wire->watcher, NULL);
    forget_arriving(wire);
    linger_end(&wire->lingering);
    callers_free(wire->callers);
    pthread_cond_destroy(&wire->ends);
    pthread_mutex_destroy(&wire->lock);
    free(wire);
}
