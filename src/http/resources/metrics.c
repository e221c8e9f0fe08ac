/* SPDX-License-Identifier: ISC */
/* GET /metrics, in the Prometheus text exposition format 0.0.4. It is public, as its readers expect, and
 * therefore says nothing of money, cups or participants. It never asks the database, so it can be read when
 * the database is away. */
#include "http/resources/handlers.h"

#include "base/clock.h"
#include "http/request/meters.h"
#include "http/request/router.h"

/* The data that is looked up once for each answer. */
struct figures {
    struct instant now;
    const struct meters *meters;
    struct clock_view clock;
    struct intake_figures intake;
    size_t feed_waiters;
    struct gauges gauges;
};

typedef void (*sample_writer)(const struct figures *figures, const char *name, struct buffer *body);

static void add_sample(struct buffer *body, const char *name, uint64_t value)
{
    buffer_printf(body, "%s %llu\n", name, (unsigned long long)value);
}

/* Codes need no escaping. */
static void add_of_scheme(struct buffer *body, const char *name, const char *scheme, int64_t value)
{
    buffer_printf(body, "%s{scheme=\"%s\"} %lld\n", name, scheme, (long long)value);
}

static void write_close_late(const struct figures *figures, const char *name, struct buffer *body)
{
    for (size_t i = 0; i < figures->clock.scheme_count; i++) {
        const struct closes *closes = &figures->clock.schemes[i];
        bool late = closes->has_open && figures->now.us > closes->due_at.us;
        add_of_scheme(body, name, closes->scheme, late ? (figures->now.us - closes->due_at.us) / 1000000 : 0);
    }
}

static void write_closes_open(const struct figures *figures, const char *name, struct buffer *body)
{
    for (size_t i = 0; i < figures->clock.scheme_count; i++)
        add_of_scheme(body, name, figures->clock.schemes[i].scheme, figures->clock.schemes[i].open_days);
}

static void write_last_close(const struct figures *figures, const char *name, struct buffer *body)
{
    for (size_t i = 0; i < figures->clock.scheme_count; i++)
        if (figures->clock.schemes[i].has_closed)
            add_of_scheme(body, name, figures->clock.schemes[i].scheme,
                          figures->clock.schemes[i].closed_at.us / 1000000);
}

static void write_looked(const struct figures *figures, const char *name, struct buffer *body)
{
    add_sample(body, name, (uint64_t)figures->clock.looked_at.us / 1000000);
}

static void write_database_up(const struct figures *figures, const char *name, struct buffer *body)
{
    add_sample(body, name, figures->clock.database_answers);
}

static void write_events(const struct figures *figures, const char *name, struct buffer *body)
{
    for (enum event_status status = 0; status < EVENT_STATUSES; status++) {
        uint64_t events = figures->intake.events[status] +
                          (status == EVENT_REJECTED ? meter_read(&figures->meters->events_refused) : 0);
        buffer_printf(body, "%s{outcome=\"%s\"} %llu\n", name, event_status_word(status),
                      (unsigned long long)events);
    }
}

static void write_batches(const struct figures *figures, const char *name, struct buffer *body)
{
    add_sample(body, name, figures->intake.batches);
}

static void write_queue(const struct figures *figures, const char *name, struct buffer *body)
{
    add_sample(body, name, figures->intake.waiting_events);
}

static void write_reads_waiting(const struct figures *figures, const char *name, struct buffer *body)
{
    add_sample(body, name, figures->gauges.reads_waiting);
}

static void write_reads_running(const struct figures *figures, const char *name, struct buffer *body)
{
    add_sample(body, name, figures->gauges.reads_running);
}

static void write_requests_open(const struct figures *figures, const char *name, struct buffer *body)
{
    add_sample(body, name, figures->gauges.requests);
}

static void write_feed_waiters(const struct figures *figures, const char *name, struct buffer *body)
{
    add_sample(body, name, figures->feed_waiters);
}

static void write_streams_open(const struct figures *figures, const char *name, struct buffer *body)
{
    add_sample(body, name, figures->gauges.streams);
}

/* Adds the labels of a route, with the brace still open. Index `count` is for requests without a route. */
static void add_route(struct buffer *body, const char *name, const char *suffix, size_t at)
{
    size_t count;
    const struct route *routes = routes_all(&count);
    buffer_printf(body, "%s%s{method=\"%s\",route=\"%s\"", name, suffix,
                  at < count ? method_word(routes[at].method) : "", at < count ? routes[at].path : "");
}

static void write_requests(const struct figures *figures, const char *name, struct buffer *body)
{
    for (size_t at = 0; at <= figures->meters->route_count; at++)
        for (int status = 0; status < STATUS_CLASSES; status++) {
            uint64_t requests = meter_read(&figures->meters->routes[at].by_class[status]);
            if (requests == 0)
                continue;
            add_route(body, name, "", at);
            if (status > 0)
                buffer_printf(body, ",status=\"%dxx\"} %llu\n", status, (unsigned long long)requests);
            else
                buffer_printf(body, ",status=\"none\"} %llu\n", (unsigned long long)requests);
        }
}

/* A bucket counts all requests that are not above its bound. Other threads count while this runs. A request
 * that they count meanwhile may be missing in some buckets, but no bucket is ever fuller than the next. */
static void write_durations(const struct figures *figures, const char *name, struct buffer *body)
{
    for (size_t at = 0; at <= figures->meters->route_count; at++) {
        const struct route_meter *meter = &figures->meters->routes[at];
        uint64_t within = 0, all = 0, sum_us = meter_read(&meter->sum_us);
        for (int status = 0; status < STATUS_CLASSES; status++)
            all += meter_read(&meter->by_class[status]);
        if (all == 0)
            continue;
        for (int i = 0; i < DURATION_BUCKETS; i++) {
            within += meter_read(&meter->within[i]);
            add_route(body, name, "_bucket", at);
            buffer_printf(body, ",le=\"%g\"} %llu\n", (double)duration_bounds_us[i] / 1e6,
                          (unsigned long long)within);
        }
        all = all > within ? all : within;
        add_route(body, name, "_bucket", at);
        buffer_printf(body, ",le=\"+Inf\"} %llu\n", (unsigned long long)all);
        add_route(body, name, "_sum", at);
        buffer_printf(body, "} %llu.%06llu\n", (unsigned long long)(sum_us / 1000000),
                      (unsigned long long)(sum_us % 1000000));
        add_route(body, name, "_count", at);
        buffer_printf(body, "} %llu\n", (unsigned long long)all);
    }
}

static const struct metric {
    const char *name, *type, *help;
    sample_writer write;
} metrics[] = {
    {"depositd_close_late_seconds", "gauge",
     "How long a scheme's first open day is past its close by the clock", write_close_late},
    {"depositd_closes_open", "gauge", "Business days that are not closed yet", write_closes_open},
    {"depositd_last_close_timestamp_seconds", "gauge", "When a day of the scheme was last closed",
     write_last_close},
    {"depositd_clock_looked_timestamp_seconds", "gauge",
     "When the clock last saw how the closes stand; it looks each second", write_looked},
    {"depositd_database_up", "gauge", "Whether the database answered when the clock last asked",
     write_database_up},
    {"depositd_events_total", "counter", "Events answered by this process", write_events},
    {"depositd_batches_total", "counter", "Batches of events taken by the writer", write_batches},
    {"depositd_queue_events", "gauge", "Events waiting for the writer", write_queue},
    {"depositd_reads_waiting", "gauge", "Requests waiting for a read worker", write_reads_waiting},
    {"depositd_reads_running", "gauge", "Requests on a read worker", write_reads_running},
    {"depositd_requests_open", "gauge", "Requests that are not answered yet, this one among them",
     write_requests_open},
    {"depositd_streams_open", "gauge", "Of these, bodies that come as NDJSON", write_streams_open},
    {"depositd_feed_waiters", "gauge", "Of these, readers of the feed that wait for news", write_feed_waiters},
    {"depositd_http_requests_total", "counter", "Requests ended, by class of status", write_requests},
    {"depositd_http_request_duration_seconds", "histogram",
     "From the head of a request to the end of its answer", write_durations},
};

static bool look_up(const struct request *request, struct figures *figures)
{
    figures->now = clock_now();
    figures->meters = request->meters;
    groups_read_figures(request->service->groups, &figures->intake);
    figures->feed_waiters = feed_watch_count(request->service->feed_watch);
    figures->meters->read_gauges(figures->meters->server, &figures->gauges);
    return closer_view(request->service->closer, request->arena, &figures->clock);
}

void handle_metrics(const struct request *request, struct answer *answer)
{
    struct figures figures;
    struct buffer *body = &answer->body;
    if (!look_up(request, &figures)) {
        faults_add(&answer->faults, REASON_OVERLOADED, NULL, "out of memory");
        return;
    }
    for (size_t i = 0; i < sizeof metrics / sizeof metrics[0]; i++) {
        buffer_printf(body, "# HELP %s %s\n# TYPE %s %s\n", metrics[i].name, metrics[i].help, metrics[i].name,
                      metrics[i].type);
        metrics[i].write(&figures, metrics[i].name, body);
    }
}
