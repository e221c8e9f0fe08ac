/* SPDX-License-Identifier: ISC */
/* Requests for shipments: people ask that cups go from one site to another, and may withdraw that. Nothing is
 * posted, and no dispatch or receipt is refused for a request. */
#ifndef DEPOSITD_APP_CUPS_SHIPMENTS_H
#define DEPOSITD_APP_CUPS_SHIPMENTS_H

#include "app/posting/head_work.h"
#include "store/shipment_store.h"

/* The lists in which a shipment may stand: by state, and by who must act. NULL-ended. */
extern const char *const shipment_states[], *const shipment_actors[];

/* A shipment as it is asked for. The texts belong to the caller. */
struct shipment_wish {
    struct uuid id;
    struct sha256 digest; /* of all that was stated, by which a replay is told from a conflict */
    const char *site, *to;
    struct cup_lines cups; /* each cup type, with its condition, once */
    struct date wanted_on;
    const char *note;   /* NULL: none */
    enum bearer bearer; /* BEARER_NONE: not agreed */
};

struct shipments_asked {
    int32_t scheme, key;
    bool dry_run;
    const struct shipment_wish *wishes;
    size_t count;
    size_t known; /* set: how many of them had been asked for before */
    /* Reads the answer within the transaction. */
    enum store_result (*view)(void *context, struct pg *pg);
    void *context;
};

/* Keeps all or none. Faults point to /shipments/0 … : SITE_UNKNOWN, SITE_IN_OTHER_SCHEME, SAME_SITE,
 * CUP_TYPE_UNKNOWN, VALUE_REPEATED, SHIPMENT_CONFLICT; and those of head_work_run. */
MUST_CHECK enum store_result shipments_request(struct pg *pg, struct snapshot_cache *snapshots,
                                               struct shipments_asked *asked, struct faults *faults);

struct shipment_withdrawing {
    struct uuid id;
    int32_t scheme, key;
    bool dry_run;
    const char *why;
    enum store_result (*view)(void *context, struct pg *pg);
    void *context;
};

/* Saying the same again is no fault. Faults: NOT_FOUND; SHIPMENT_DONE if nothing is still to be sent. */
MUST_CHECK enum store_result shipment_withdraw(struct pg *pg, struct snapshot_cache *snapshots,
                                               struct shipment_withdrawing *withdrawing,
                                               struct faults *faults);

#endif
