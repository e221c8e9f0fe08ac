/* SPDX-License-Identifier: ISC */
/* The fields of the counter page's forms, and the data that the page shows. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_COUNTER_FIELDS_H
#define DEPOSITD_HTTP_PAGES_PAGE_COUNTER_FIELDS_H

#include "http/request/handler.h"

/* Names and values of the form's fields, which the handler reads. */
#define COUNTER_EVENT_ID "event_id"
#define COUNTER_SITE     "site"
#define COUNTER_FORM     "form" /* which form of the page it is */
#define COUNTER_ACT      "act"
#define COUNTER_CUP_TYPE "cup_type"
#define COUNTER_QUANTITY "quantity"
#define COUNTER_DAMAGED  "damaged"
#define COUNTER_AMOUNT   "amount"
#define COUNTER_TENDER   "tender"
#define COUNTER_TEXT     "reference"
#define COUNTER_REVERSES "reverses"
#define COUNTER_SHIPMENT "shipment"
#define COUNTER_DISPATCH "dispatch"
#define COUNTER_TO       "to"
#define COUNTER_HOST     "host"
#define COUNTER_LINE     "line-"  /* and its index: the cup type of a line, and "/damaged" if it is */
#define COUNTER_COUNT    "count-" /* and its index: how many */

/* The acts. X(NAME, word, label, kind of event) */
#define COUNTER_ACT_TABLE(X)                                                                                 \
    X(OUT, out, "Out", ISSUE)                                                                                \
    X(BACK, back, "Back", RETURN)                                                                            \
    X(SWAP, swap, "Swap", EXCHANGE)                                                                          \
    X(UNDO, undo, "Undo", REVERSAL)                                                                          \
    X(SEND, send, "Sent", DISPATCH)                                                                          \
    X(RECEIVE, receive, "Arrived", RECEIPT)

enum counter_act {
#define X(NAME, word, label, kind) COUNTER_##NAME,
    COUNTER_ACT_TABLE(X)
#undef X
        COUNTER_ACTS
};

/* The data of the page, as counter_store.h reads it. */
struct counter_page {
    const json_t *place;
    const json_t *shipments;     /* that the site has to send and to receive */
    const json_t *events;        /* of the day, newest first */
    bool more;                   /* the day has more of them */
    const json_t *told;          /* the event that was just recorded; NULL: none */
    bool again;                  /* it had been recorded before */
    bool lost;                   /* the form's id is taken, by an event that is not this site's */
    const struct faults *faults; /* of the form that came back; NULL: none came */
};

#endif
