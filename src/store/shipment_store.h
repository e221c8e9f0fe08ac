/* SPDX-License-Identifier: ISC */
/* Requested shipments: keeping, finding and reading them. */
#ifndef DEPOSITD_STORE_SHIPMENT_STORE_H
#define DEPOSITD_STORE_SHIPMENT_STORE_H

#include "depositd/event.h"
#include "store/read_store.h"

struct shipment_row {
    struct uuid id;
    struct sha256 digest;
    int32_t sender, receiver;
    struct date wanted_on;
    const char *note;   /* NULL: none */
    const char *bearer; /* of losses, as agreed; NULL: nothing was agreed */
};

struct shipment_cups_row {
    struct uuid shipment;
    int32_t cup_type;
    bool damaged;
    int64_t cups;
};

/* The caller of these holds the head row of the scheme. */
MUST_CHECK enum store_result store_shipments_add(struct pg *pg, int32_t scheme, int32_t key,
                                                 struct instant now, const struct shipment_row *rows,
                                                 size_t count);
MUST_CHECK enum store_result store_shipment_cups_add(struct pg *pg, int32_t scheme,
                                                     const struct shipment_cups_row *rows, size_t count);

struct known_shipment {
    int64_t place; /* among the ids that were asked for, from 1 on */
    struct sha256 digest;
};
struct known_shipments {
    struct known_shipment *items; /* in the arena */
    size_t count;
};
/* Those of the shipments that the scheme has. */
MUST_CHECK enum store_result store_shipments_known(struct pg *pg, struct arena *arena, int32_t scheme,
                                                   const struct shipment_row *rows, size_t count,
                                                   struct known_shipments *known);

struct shipment_standing {
    int32_t scheme;
    int64_t number;
    bool to_send;         /* something of it is still to be sent */
    bool withdrawn;       /* … unless it is withdrawn: */
    int32_t withdrawn_by; /* by this key, … */
    const char *why;      /* … for this reason */
    int32_t receiving;    /* the scheme of the receiver */
};
/* `scheme` 0: any; the first in the order of schemes. *found: how many have it. The text is in the arena. */
MUST_CHECK enum store_result store_shipment_find(struct pg *pg, struct arena *arena, const struct uuid *id,
                                                 int32_t scheme, struct shipment_standing *standing,
                                                 size_t *found);
MUST_CHECK enum store_result store_shipment_withdraw(struct pg *pg, const struct shipment_standing *standing,
                                                     struct instant now);

/* The bearer that was agreed for the shipment of a dispatch. BEARER_NONE: none was. */
MUST_CHECK enum store_result store_shipment_bearer(struct pg *pg, int32_t scheme, int64_t dispatch,
                                                   enum bearer *bearer);

struct shipments_filter {
    int32_t scheme;
    struct visible_sites visible;
    int32_t site;        /* 0: any */
    const char *list;    /* of shipment_listed */
    const bool *overdue; /* NULL: either */
};
MUST_CHECK enum store_result read_shipments(struct pg *pg, const struct shipments_filter *filter,
                                            struct list_slice *slice);
/* *found: the number of schemes that have a shipment with this id which the reader may see. The JSON is of
 * the first. `scheme` 0: any. */
MUST_CHECK enum store_result read_shipment(struct pg *pg, const struct uuid *id, int32_t scheme,
                                           const struct visible_sites *visible, struct buffer *json,
                                           size_t *found);
/* The same for its packing list. */
MUST_CHECK enum store_result read_packing_list(struct pg *pg, const struct uuid *id, int32_t scheme,
                                               const struct visible_sites *visible, struct buffer *json,
                                               size_t *found);

/* The shipments that a site has to send, and the dispatches that it has to receive, at most `most` of each.
 */
MUST_CHECK enum store_result read_counter_shipments(struct pg *pg, int32_t site, int most,
                                                    struct buffer *json);

#endif
