/* SPDX-License-Identifier: ISC */
/* Each scheme belongs to a group, which its reference data names. A group has an intake of its own: queue,
 * writer's thread, connection, prepared statements and kept copies. So a scheme waits only for schemes of its
 * group. The first group's intake starts with the service, another one's with the first event for it. Several
 * instances may post to one group, because a scheme's head row gives its order; so a scheme can change its
 * group at any time.
 *
 * A group is the seam for a distributed engine: its tables may live in a schema and on a node of their own,
 * because only its intake posts to them. Nothing beyond this header knows how many groups there are. */
#ifndef DEPOSITD_APP_POSTING_GROUPS_H
#define DEPOSITD_APP_POSTING_GROUPS_H

#include "app/posting/intake.h"

struct groups;

/* The listener hears of all groups. NULL: no memory or no thread. */
MUST_CHECK struct groups *groups_start(const struct config *config, struct snapshot_cache *snapshots,
                                       const struct pg_stop *stop, struct intake_listener listener);
/* Takes no more jobs, finishes those that wait or are parked, and ends the threads. */
void groups_stop(struct groups *groups);

/* False: a queue is full, there is no memory or no thread, or the groups are stopping; `done` will not be
 * called. Never blocks. The events of a job may be of several groups, whose writers post them side by side;
 * `done` is called by the last of these writers. */
MUST_CHECK bool groups_submit(struct groups *groups, struct intake_job *job);

/* Of all groups together: sums, the oldest job, the latest failure. Read by any thread. */
void groups_read_figures(struct groups *groups, struct intake_figures *figures);
void groups_read_health(struct groups *groups, struct intake_health *health);

#endif
