/* SPDX-License-Identifier: ISC */
/* The configuration: one table of settings, each with its name, environment variable, default and bounds.
 *
 * A setting comes, in rising order of precedence, from its default, the configuration file (`name = value`
 * lines, # comments) and its environment variable (DEPOSITD_ and the name in capitals). An unknown name or a
 * value out of bounds is an error that names file, line and setting. Read once at the start; then constant.
 */
#ifndef DEPOSITD_BASE_CONFIG_H
#define DEPOSITD_BASE_CONFIG_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

enum { CONFIG_TEXT_MAX = 512 };

struct config {
    char dsn[CONFIG_TEXT_MAX];       /* libpq connection string of the service's role */
    char owner_dsn[CONFIG_TEXT_MAX]; /* of the owner, for migrate */
    char listen_address[CONFIG_TEXT_MAX];
    int listen_port;
    int max_connections;
    int max_connections_per_address; /* 0: any number */
    int connection_timeout_s;
    int head_timeout_s;
    int body_timeout_s; /* and a second more for each … */
    int body_rate;      /* … bytes of it */
    int max_body_bytes;
    int max_reference_bytes; /* of a body where the route takes a large one */
    int key_rate;            /* requests a second that each key may make; 0: any number */
    int key_burst;           /* requests that it may make at once */
    int max_streams;         /* bodies of NDJSON being read, and long answers being sent, at a time */
    char spool_folder[CONFIG_TEXT_MAX];
    int spool_megabytes;
    int queue_events; /* events waiting for the writer before 503 */
    int batch_events; /* events in one transaction */
    int read_workers;
    int queue_reads;      /* requests waiting for a read worker before 503 */
    int post_deadline_ms; /* until a post is answered */
    int read_deadline_ms; /* that the database may take for a read or a small change */
    int long_deadline_s;  /* that it may take for large work */
    int stop_grace_s;     /* from SIGTERM to the end of the process */
    bool close_by_clock;
    int feed_waiters;         /* readers of the feed that may wait for news at a time */
    int closers;              /* threads that close days */
    int count_days;           /* after which a site that trades is to be counted again */
    int session_idle_minutes; /* after which a browser's session without requests ends */
    int counter_idle_minutes; /* the same for a key of role pos */
    int session_hours;        /* after which it ends in any case */
    bool behind_tls;          /* browsers reach the service by TLS only, so cookies travel by TLS only */
    char log_level[16];
};

/* `path` NULL: no file. On failure a message of one line is in `error`. */
MUST_CHECK bool config_load(struct config *config, const char *path, char *error, size_t error_size);
/* The table as a commented configuration file, for --help and as a template. */
void config_print_template(FILE *stream);

#endif
